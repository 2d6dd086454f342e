"""``tackfree ask``: quick answers, no job needed."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Literal

import typer

from tackfree.cli.common import Explain, Json, Units, emit, system

if TYPE_CHECKING:
    from tackfree.service.ask import Answer
    from tackfree.units import System

app = typer.Typer(
    name="ask",
    help="Quick answers with formula and source. No job needed.",
    no_args_is_help=True,
)

# A temperature may be below zero: -5°C is then an argument and no option.
_SIGNED = {"ignore_unknown_options": True}

Fill = Annotated[
    str | None, typer.Option("--fill", help="Texture fill of the surface under the coat, 5 mil.")
]
Loss = Annotated[str | None, typer.Option("--loss", help="Loss on the net need, as 8%.")]
Wft = Annotated[str, typer.Argument(help="Wet film over the peaks, as 25 mil.")]
KitSize = Annotated[str, typer.Argument(metavar="KIT", help="Mixed volume of one kit, as '5 gal'.")]
AreaOf = Annotated[str, typer.Argument(metavar="AREA", help="Developed area, as '600 ft²'.")]
Air = Annotated[str, typer.Argument(help="Air temperature, as 75°F or 24°C.")]
Rh = Annotated[str, typer.Argument(help="Relative humidity, as 60%.")]
At = Annotated[str, typer.Argument(help="Temperature of the sheet's figure, as 75°F.")]


@app.command(epilog="Try: tackfree ask wet '60 ft²/gal'")
def wet(
    coverage: Annotated[str, typer.Argument(help="Spreading rate, as '60 ft²/gal'.")],
    json: Json = False,
    units: Units = None,
    explain: Explain = False,
) -> None:
    """Wet film from a coverage."""
    _answer("wet", json, units, explain, coverage=coverage)


@app.command(epilog="Try: tackfree ask dry '25 mil' 85%")
def dry(
    wft: Wft,
    solids: Annotated[str, typer.Argument(help="Volume solids, as 85%.")],
    thinner: Annotated[str | None, typer.Option(help="Thinner added, by volume, as 10%.")] = None,
    json: Json = False,
    units: Units = None,
    explain: Explain = False,
) -> None:
    """Dry film from wet film and volume solids."""
    _answer("dry", json, units, explain, wft=wft, solids=solids, thinner=thinner)


@app.command(
    epilog="Try: tackfree ask reach '5 gal' '25 mil' --fill '5 mil' --loss 8% --lane-width 24ft"
)
def reach(
    kit: KitSize,
    wft: Wft,
    fill: Fill = None,
    loss: Loss = None,
    lane_width: Annotated[
        str | None, typer.Option("--lane-width", help="Gives the length to chalk, as 24ft.")
    ] = None,
    json: Json = False,
    units: Units = None,
    explain: Explain = False,
) -> None:
    """Area one kit must cover."""
    _answer(
        "reach", json, units, explain,
        kit=kit, wft=wft, fill=fill, loss=loss, lane_width=lane_width,
    )  # fmt: skip


@app.command(epilog="Try: tackfree ask kits '4200 ft²' '28 mil' '5 gal' --fill '6 mil' --loss 8%")
def kits(
    area: AreaOf,
    wft: Wft,
    kit: KitSize,
    fill: Fill = None,
    loss: Loss = None,
    json: Json = False,
    units: Units = None,
    explain: Explain = False,
) -> None:
    """Whole kits for an area."""
    _answer("kits", json, units, explain, area=area, wft=wft, kit=kit, fill=fill, loss=loss)


@app.command(context_settings=_SIGNED, epilog="Try: tackfree ask dewpoint 75°F 60%")
def dewpoint(
    air: Air, rh: Rh, json: Json = False, units: Units = None, explain: Explain = False
) -> None:
    """Dew point of the air."""
    _answer("dewpoint", json, units, explain, air=air, rh=rh)


@app.command(context_settings=_SIGNED, epilog="Try: tackfree ask spread 68°F 72°F 78%")
def spread(
    slab: Annotated[str, typer.Argument(help="Slab temperature, as 68°F or 20°C.")],
    air: Air,
    rh: Rh,
    json: Json = False,
    units: Units = None,
    explain: Explain = False,
) -> None:
    """Slab temperature above the dew point."""
    _answer("spread", json, units, explain, slab=slab, air=air, rh=rh)


@app.command(context_settings=_SIGNED, epilog="Try: tackfree ask potlife 30 75°F 95°F")
def potlife(
    minutes: Annotated[str, typer.Argument(help="Pot life of the sheet, in minutes.")],
    at: At,
    now: Annotated[str, typer.Argument(help="Temperature of the kit now, as 95°F.")],
    json: Json = False,
    units: Units = None,
    explain: Explain = False,
) -> None:
    """Pot life at another temperature."""
    _answer("potlife", json, units, explain, minutes=minutes, at=at, now=now)


@app.command(
    epilog="Try: tackfree ask sealant '1/2 in' '1/4 in' --length 200ft --package '20 fl oz'"
)
def sealant(
    width: Annotated[str, typer.Argument(help="Width of the joint or leg of the cove, as 1/2in.")],
    depth: Annotated[str, typer.Argument(help="Depth, or the other leg, as 1/4in.")],
    shape: Annotated[
        Literal["rectangle", "triangle", "concave", "convex"] | None,
        typer.Option(help="Cross-section, rectangle if not given; round coves need equal legs."),
    ] = None,
    length: Annotated[str | None, typer.Option(help="Length of joint, as 200ft.")] = None,
    package: Annotated[str | None, typer.Option(help="One package, as '20 fl oz'.")] = None,
    loss: Loss = None,
    json: Json = False,
    units: Units = None,
    explain: Explain = False,
) -> None:
    """Length of joint from a gallon, and packages for a length."""
    _answer(
        "sealant", json, units, explain,
        width=width, depth=depth, shape=shape, length=length, package=package, loss=loss,
    )  # fmt: skip


@app.command(epilog="Try: tackfree ask sand '612 ft²' '12 lb/100 ft²'")
def sand(
    area: AreaOf,
    rate: Annotated[str, typer.Argument(help="Rate as thrown, as '12 lb/100 ft²'.")],
    bag: Annotated[str | None, typer.Option(help="Mass of one bag; 50 lb if not given.")] = None,
    json: Json = False,
    units: Units = None,
    explain: Explain = False,
) -> None:
    """Sand and bags for an area."""
    _answer("sand", json, units, explain, area=area, rate=rate, bag=bag)


@app.command(context_settings=_SIGNED, epilog="Try: tackfree ask cold 16 75°F 55°F")
def cold(
    hours: Annotated[str, typer.Argument(help="Least time of the sheet, in hours.")],
    at: At,
    now: Annotated[str, typer.Argument(help="Slab temperature now, as 55°F.")],
    hourly: Annotated[
        str | None,
        typer.Option("--hourly", help="Slab in the hours that follow, as '60F 58 55 52'."),
    ] = None,
    before: Annotated[
        str | None, typer.Option("--before", help="Longest time to the next coat, as 24h.")
    ] = None,
    json: Json = False,
    units: Units = None,
    explain: Explain = False,
) -> None:
    """A least waiting time at another slab temperature, or over a night hour by hour."""
    _answer("cold", json, units, explain, hours=hours, at=at, now=now, hourly=hourly, before=before)


@app.command(
    context_settings=_SIGNED,
    epilog="Try: tackfree ask wetedge 30 75°F 92°F --sun full --width 60ft --reach 295ft² "
    "--rate '1500 ft²/h'",
)
def wetedge(
    minutes: Annotated[str, typer.Argument(help="Pot life of the sheet, in minutes.")],
    at: At,
    slab: Annotated[str, typer.Argument(help="Slab temperature, as 92°F.")],
    sun: Annotated[
        str | None, typer.Option("--sun", help="none, hazy or full; none if left out.")
    ] = None,
    width: Annotated[
        str | None, typer.Option("--width", help="How far across the edge runs, as 60ft.")
    ] = None,
    reach: Annotated[
        str | None, typer.Option("--reach", help="What a kit covers, as 295ft².")
    ] = None,
    rate: Annotated[
        str | None, typer.Option("--rate", help="What the crew places, as '1500 ft²/h'.")
    ] = None,
    lane: Annotated[
        str | None, typer.Option("--lane", help="Width walked in one go; 8 ft if left out.")
    ] = None,
    json: Json = False,
    units: Units = None,
    explain: Explain = False,
) -> None:
    """How long a poured edge stays open on the slab, and whether a crew keeps it."""
    _answer(
        "wetedge", json, units, explain, minutes=minutes, at=at, slab=slab, sun=sun, width=width,
        reach=reach, rate=rate, lane=lane,
    )  # fmt: skip


@app.command(epilog="Try: tackfree ask air '2 gal' 0.87kg/L 92.1 50 --mixing 5 --lfl 1.1%")
def air(
    solvent: Annotated[str, typer.Argument(help="Solvent that evaporates in an hour, as '2 gal'.")],
    density: Annotated[str, typer.Argument(help="Its density, as 0.87kg/L or '7.3 lb/gal'.")],
    weight: Annotated[str, typer.Argument(help="Its molecular weight in g/mol, as 92.1.")],
    limit: Annotated[str, typer.Argument(help="Exposure limit in ppm, safety data sheet 8.")],
    mixing: Annotated[
        str | None, typer.Option("--mixing", help="Allowance for bad mixing, 3 to 10.")
    ] = None,
    lfl: Annotated[
        str | None, typer.Option("--lfl", help="Lower flammable limit, as 1.1%.")
    ] = None,
    json: Json = False,
    units: Units = None,
    explain: Explain = False,
) -> None:
    """Dilution air for solvent in an enclosed deck; a hygienist decides."""
    _answer(
        "air", json, units, explain,
        solvent=solvent, density=density, weight=weight, limit=limit, mixing=mixing, lfl=lfl,
    )  # fmt: skip


def _answer(
    question: str,
    json: bool,
    wanted: str | None,
    explain: bool,
    **given: str | None,
) -> None:
    """Ask, then print: the answer, the formula with its numbers, the source."""
    from tackfree.service.ask import ask, spoken

    ours = system(wanted)
    answer = ask(question, given)
    if json:
        emit(answer.to_json(ours))
        return
    typer.secho(answer.headline(ours), bold=True)
    typer.echo(answer.headline("si" if ours == "us" else "us"))
    typer.echo()
    typer.echo(answer.working[ours])
    typer.echo(f"{answer.source.kind}: {answer.source.text}")
    for note in answer.notes:
        typer.echo(f"- {spoken(note, ours)}")
    if explain:
        _explain(answer, ours)


def _explain(answer: Answer, ours: System) -> None:
    from tackfree.words import say

    typer.echo()
    typer.echo(say(f"ask.{answer.question}_why"))
    typer.echo(answer.working["si" if ours == "us" else "us"])
    for told in answer.answer:
        figure = told.figure
        typer.echo(f"{told.name} [{figure.unit or '-'}] = {figure.formula}")
        for given in figure.inputs:
            value = f"{given.value:g}" if isinstance(given.value, float) else str(given.value)
            source = f"{given.source.kind} {given.source.text}".strip()
            typer.echo(f"    {given.name} = {value} {given.unit}".rstrip() + f"  ({source})")
