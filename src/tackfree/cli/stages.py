"""One command per stage: materials, weather, clock, plan, shift, serve."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from tackfree.cli import deck
from tackfree.cli.common import Bundle, Explain, Json, Out, Units, emit, system, talk

materials = typer.Typer(no_args_is_help=True, help="Kits, sand, sealant.")
weather = typer.Typer(no_args_is_help=True, help="Weather, slab and windows.")
clock = typer.Typer(no_args_is_help=True, help="Recoat clocks.")
plan = typer.Typer(no_args_is_help=True, help="Crews into windows.")
shift = typer.Typer(no_args_is_help=True, help="The foreman's page.")


def add_to(app: typer.Typer) -> None:
    """Hang the stage commands into the tree."""
    app.add_typer(deck.app, name="deck")
    app.add_typer(materials, name="materials")
    app.add_typer(weather, name="weather")
    app.add_typer(clock, name="clock")
    app.add_typer(plan, name="plan")
    app.add_typer(shift, name="shift")
    app.command("serve", epilog="Try: tackfree serve demo/job")(serve)


@materials.command("order", epilog="Try: tackfree materials order demo/job --out order")
def order(
    bundle: Bundle,
    out: Out = None,
    units: Units = None,
    explain: Explain = False,
    json: Json = False,
) -> None:
    """Whole kits, bags and packs; with --out the workbook order.xlsx."""
    from tackfree.service import report
    from tackfree.service.pipeline import Pipeline

    made = Pipeline.of(bundle)
    if out:
        talk(f"Wrote {report.write_order(made, out)}")
    if json:
        emit({"schema": "tackfree.materials/1", **report.materials(made)})
        return
    print(report.order_text(made, system(units, made.job.units), explain=explain))


@weather.command("windows", epilog="Try: tackfree weather windows demo/job --date 2027-04-20")
def windows(
    bundle: Bundle,
    date: Annotated[str | None, typer.Option("--date", help="One day, 2027-04-20.")] = None,
    units: Units = None,
    json: Json = False,
) -> None:
    """GO, MEASURE, WAIT or UNKNOWN by exposure and coat; by month, or hour by hour for a day."""
    from tackfree.service import report
    from tackfree.service.pipeline import Pipeline

    made = Pipeline.of(bundle)
    if json:
        emit({"schema": "tackfree.windows/1", **report.windows(made, date)})
        return
    print(report.windows_text(made, date, system(units, made.job.units)))


@clock.command(
    "show",
    epilog="Try: tackfree clock show demo/job --section P2-LANE-A-1 --coat BASE "
    "--placed-from 2027-05-03T14:00 --placed-to 2027-05-03T17:00",
)
def show(
    bundle: Bundle,
    section: Annotated[str, typer.Option("--section", help="Section id.")],
    coat: Annotated[str, typer.Option("--coat", help="Coat id, BASE.")],
    placed_from: Annotated[str, typer.Option("--placed-from", help="First kit, job time.")],
    placed_to: Annotated[str, typer.Option("--placed-to", help="Last kit, job time.")],
    json: Json = False,
) -> None:
    """Recoat after, recoat before, feet and cars: careful and hopeful ends."""
    from tackfree.service import report
    from tackfree.service.pipeline import Pipeline

    made = Pipeline.of(bundle)
    line = report.clock(made, section, coat, placed_from, placed_to)
    if json:
        emit({"schema": "tackfree.clock/1", "clock": line})
        return
    print(report.clock_text(made, line))


@plan.command("make", epilog="Try: tackfree plan make demo/job --json > plan.json")
def make(bundle: Bundle, json: Json = False) -> None:
    """A plan with its status and bound; the JSON holds its problem."""
    from tackfree.service import report
    from tackfree.service.pipeline import Pipeline

    made = Pipeline.of(bundle)
    if json:
        emit({"schema": "tackfree.plan/1", "problem": made.problem, "plan": made.plan})
        return
    print(report.plan_text(made))


@plan.command("check", epilog="Try: tackfree plan check demo/out/stages/plan.json")
def check(
    file: Annotated[Path, typer.Argument(help="A plan as JSON.", metavar="PLAN")],
    json: Json = False,
) -> None:
    """Check a plan against every rule of its problem, by code of its own."""
    from tackfree.cli.common import refuse
    from tackfree.service import plan as service

    faults = service.check_file(file)
    if faults:
        refuse(faults, as_json=json)
        raise typer.Exit(1)
    if json:
        emit({"schema": "tackfree.plan-check/1", "plan": str(file), "faults": []})
        return
    print(f"{file}: every rule holds.")


@shift.command("sheet", epilog="Try: tackfree shift sheet demo/job --date 2027-04-20 --out sheets")
def sheet(
    bundle: Bundle,
    date: Annotated[str, typer.Option("--date", help="The day the shift begins.")],
    out: Out = None,
    json: Json = False,
) -> None:
    """The foreman's page of each shift of a day, as PDF."""
    from tackfree.service import report
    from tackfree.service.pipeline import Pipeline

    made = Pipeline.of(bundle)
    files = report.shift_sheets(made, date, out or Path())
    if json:
        emit({"schema": "tackfree.shift-sheet/1", "files": files})
        return
    for name in files:
        print(name)


def serve(
    bundle: Bundle = Path("demo/job"),
    out: Out = None,
    host: Annotated[str, typer.Option("--host", help="Address to listen on.")] = "127.0.0.1",
    port: Annotated[int, typer.Option("--port", help="Port to listen on.")] = 8321,
) -> None:
    """The pages of a built job, on this machine."""
    from tackfree.service import serving
    from tackfree.web.app import run

    run(serving.ready(bundle, out, say=talk), bundle, host, port)
