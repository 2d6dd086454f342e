"""``weather`` and ``clock``: files, windows, best starts, drying, clocks."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from tackfree.cli.common import Bundle, Json, Out, Units, emit, system

weather = typer.Typer(no_args_is_help=True, help="Weather, slab and windows.")
clock = typer.Typer(no_args_is_help=True, help="Recoat clocks.")
Language = Annotated[
    str | None, typer.Option("--lang", help="Of the text; the job's first language otherwise.")
]


def _language(asked: str | None, ours: tuple[str, ...]) -> str:
    """The language asked for, else the job's first."""
    from tackfree.cli.common import choice
    from tackfree.words import LANGUAGES

    return choice(asked or ours[0], LANGUAGES, "--lang")


@weather.command("read", epilog="Try: tackfree weather read demo/job/weather/723170TYA.CSV")
def read(
    file: Annotated[Path, typer.Argument(help="A weather file.", metavar="FILE")],
    format: Annotated[str, typer.Option("--format", help="Told from the content if empty.")] = "",
    column: Annotated[
        list[str] | None, typer.Option("--column", help="Ours=theirs, as air_c=Temp.")
    ] = None,
    unit: Annotated[list[str] | None, typer.Option("--unit", help="Ours=unit, as air_c=F.")] = None,
    time: Annotated[str, typer.Option("--time", help="Heading of the time column.")] = "",
    zone: Annotated[str, typer.Option("--zone", help="UTC, +02:00 or America/New_York.")] = "",
    day_first: Annotated[
        bool | None, typer.Option("--day-first/--month-first", help="How 03/04/2025 is read.")
    ] = None,
    decimal: Annotated[str, typer.Option("--decimal", help="The decimal mark, . or ,")] = "",
    mapping: Annotated[
        Path | None, typer.Option("--map", help="These answers as a TOML file.")
    ] = None,
    json: Json = False,
) -> None:
    """What a weather file holds, and what was filled, dropped or doubted."""
    from tackfree.service import weather as service

    given = service.mapping_of(
        columns=column or [], units=unit or [], time=time, zone=zone, day_first=day_first,
        decimal=decimal, file=mapping,
    )  # fmt: skip
    document = service.read(file, format, given)
    if json:
        emit({"schema": "tackfree.weather-read/1", **document})
        return
    print(service.read_text(document))


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


@weather.command("hours", epilog="Try: tackfree weather hours demo/job")
def hours(
    bundle: Bundle,
    file: Annotated[
        Path | None, typer.Option("--file", help="Another place's typical year, EPW or TMY3.")
    ] = None,
    zone: Annotated[str, typer.Option("--zone", help="That place's zone, America/Chicago.")] = "",
    placing: Annotated[float, typer.Option("--placing", help="Hours of placing.")] = 4.0,
    dry: Annotated[
        bool, typer.Option("--lacking-rain-is-dry", help="Count hours without rain data as dry.")
    ] = False,
    json: Json = False,
) -> None:
    """Legal start hours of a whole year by month, coat and exposure, and what holds the rest."""
    from tackfree.bundle.load import load
    from tackfree.service import hours as service

    found = service.year_of(load(bundle), file, zone, placing_h=placing, lacking_rain_is_dry=dry)
    if json:
        emit({"schema": "tackfree.legal-hours/1", **service.document(found)})
        return
    print(service.text(found))


@weather.command("best", epilog="Try: tackfree weather best demo/job --date 2027-05-03 --days 3")
def best(
    bundle: Bundle,
    date: Annotated[str, typer.Option("--date", help="First day, 2027-05-03.")],
    days: Annotated[int, typer.Option("--days", help="How many days.")] = 3,
    placing: Annotated[float, typer.Option("--placing", help="Hours of placing.")] = 4.0,
    json: Json = False,
) -> None:
    """Best starts, safest first, and the gap between pore air and dew."""
    from tackfree.service import report, windows
    from tackfree.service.pipeline import Pipeline

    made = Pipeline.of(bundle)
    day = report.day(date)
    if json:
        document = windows.ranked_document(made, day, days, placing)
        emit({"schema": "tackfree.best-starts/1", **document})
        return
    print(windows.ranked_text(made, day, days, placing))


@weather.command("drying", epilog="Try: tackfree weather drying demo/job --at 2027-05-03T07:00")
def drying(
    bundle: Bundle,
    at: Annotated[str, typer.Option("--at", help="Moment, job time.")],
    json: Json = False,
) -> None:
    """From when a rained-on deck is worth testing; never that it is dry."""
    from zoneinfo import ZoneInfo

    from tackfree.service import report, windows
    from tackfree.service.pipeline import Pipeline

    made = Pipeline.of(bundle)
    moment = report.moment(at, ZoneInfo(made.job.place.time_zone), "--at")
    if json:
        age = windows.forecast_age_h(made)
        found = windows.drying(made, moment)
        emit({"schema": "tackfree.drying/1", "at": moment, "forecast_age_h": age, "drying": found})
        return
    print(windows.drying_text(made, moment))


@weather.command(
    "last",
    epilog="Try: tackfree weather last demo/job --section P2-LANE-A-1 --coat BASE "
    "--from 2027-04-21T14:00",
)
def last(
    bundle: Bundle,
    section: Annotated[str, typer.Option("--section", help="Section id.")],
    coat: Annotated[str, typer.Option("--coat", help="Coat id, BASE.")],
    begins: Annotated[str, typer.Option("--from", help="When work would begin, job time.")],
    language: Language = None,
    units: Units = None,
    json: Json = False,
) -> None:
    """Until when kits may go down before dark, dew or rain; how far that reaches, and why."""
    from zoneinfo import ZoneInfo

    from tackfree.service import last as service
    from tackfree.service import report
    from tackfree.service.pipeline import Pipeline
    from tackfree.service.windows import forecast_age_h

    made = Pipeline.of(bundle)
    at = report.moment(begins, ZoneInfo(made.job.place.time_zone), "--from")
    found = service.last_placing(made, bundle, section, coat, at)
    if json:
        age = forecast_age_h(made)
        document = {"last": found, "whole": found.whole, "forecast_age_h": age}
        emit({"schema": "tackfree.weather-last/1", **document})
        return
    spoken = _language(language, made.job.languages)
    print(service.text(made, found, system(units, made.job.units), spoken))


@weather.command(
    "chart", epilog="Try: tackfree weather chart demo/job --zone P2-LANE-A --date 2027-04-20"
)
def chart(
    bundle: Bundle,
    zone: Annotated[str, typer.Option("--zone", help="Zone id.")],
    date: Annotated[str, typer.Option("--date", help="First day, 2027-04-20.")],
    days: Annotated[int, typer.Option("--days", help="How many days, 1 to 14.")] = 3,
    language: Annotated[str, typer.Option("--lang", help="en or es.")] = "en",
    units: Units = None,
    out: Out = None,
    json: Json = False,
) -> None:
    """Slab, air, dew, sun, rain, windows and clocks of a zone on one axis, as SVG and PDF."""
    from tackfree.cli.common import choice
    from tackfree.service import charts, report
    from tackfree.service.pipeline import Pipeline
    from tackfree.words import LANGUAGES

    made = Pipeline.of(bundle)
    day = report.day(date)
    found = charts.chart_of(
        made, bundle, zone, day, days=days, units=system(units, made.job.units),
        language=choice(language, LANGUAGES, "--lang"),
    )  # fmt: skip
    files = [str(f) for f in charts.write(made, found, day, out or Path())]
    if json:
        emit({"schema": "tackfree.weather-chart/1", "files": files, "clocks": list(found.clocks)})
        return
    for name in files:
        print(name)


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
    from tackfree.service import remedies, report
    from tackfree.service.pipeline import Pipeline
    from tackfree.service.windows import forecast_age_h

    made = Pipeline.of(bundle)
    line = report.clock(made, section, coat, placed_from, placed_to)
    if json:
        ways, age = remedies.ways_now(made, line), forecast_age_h(made)
        document = {"clock": line, "ways_out": ways, "forecast_age_h": age}
        emit({"schema": "tackfree.clock/1", **document})
        return
    print(report.clock_text(made, line))


@clock.command("board", epilog="Try: tackfree clock board demo/job --at 2027-05-10T07:00")
def board(
    bundle: Bundle,
    at: Annotated[str, typer.Option("--at", help="Moment to judge, job time.")],
    stop: Annotated[
        str | None, typer.Option("--stop", help="What if no coat begins after this, job time.")
    ] = None,
    language: Language = None,
    json: Json = False,
) -> None:
    """Every section's clock at a moment, the missed windows first, with what each needs."""
    from zoneinfo import ZoneInfo

    from tackfree.service import board as service
    from tackfree.service import placed, report
    from tackfree.service.pipeline import Pipeline

    made = Pipeline.of(bundle)
    zone = ZoneInfo(made.job.place.time_zone)
    moment = report.moment(at, zone, "--at")
    halt = None if stop is None else report.moment(stop, zone, "--stop")
    logged = placed.placed_lines(made, placed.clock_entries(bundle))
    if json:
        emit({"schema": "tackfree.clock-board/1", **service.document(made, moment, halt, logged)})
        return
    print(service.text(made, moment, halt, logged, _language(language, made.job.languages)))


@weather.command(
    "fetch",
    context_settings={"ignore_unknown_options": True},  # a longitude may be below zero
    epilog="Try: tackfree weather fetch 36.10 -79.95 --from open-meteo",
)
def fetch(
    latitude: Annotated[float, typer.Argument(help="Degrees, north +.")],
    longitude: Annotated[float, typer.Argument(help="Degrees, east +.")],
    service: Annotated[str, typer.Option("--from", help="nws or open-meteo.")] = "nws",
    out: Annotated[Path, typer.Option("--out", help="Folder for the file.")] = Path("weather"),
    base: Annotated[str, typer.Option("--base", help="A mirror's address.")] = "",
    json: Json = False,
) -> None:
    """A forecast by latitude and longitude; off unless TACKFREE_FETCH=on."""
    from datetime import UTC, datetime

    from tackfree.service import forecast

    found = forecast.fetch(
        latitude_deg=latitude, longitude_deg=longitude, service=service, out=out,
        now=datetime.now(UTC), base=base,
    )  # fmt: skip
    if json:
        emit({"schema": "tackfree.weather-fetch/1", "fetched": found})
        return
    print(forecast.text(found))


@weather.command(
    "calibrate", epilog="Try: tackfree weather calibrate my-job deck.csv --exposure open-sky"
)
def calibrate(
    bundle: Bundle,
    file: Annotated[Path, typer.Argument(help="Readings of the bare deck.", metavar="FILE")],
    exposure: Annotated[str, typer.Option("--exposure", help="Where they were taken.")],
    mapping: Annotated[
        Path | None, typer.Option("--map", help="What its columns are, as TOML.")
    ] = None,
    measured: Annotated[
        Path | None,
        typer.Option("--weather", help="Measured weather around the readings, if not the job's."),
    ] = None,
    write: Annotated[
        bool, typer.Option("--write", help="Keep the fit in job.toml, with its source.")
    ] = False,
    json: Json = False,
) -> None:
    """Absorptance and wind factor fitted to readings; refused when they are too few."""
    from tackfree.service import calibrate as service
    from tackfree.service import weather as readers
    from tackfree.service.pipeline import Pipeline

    given = readers.mapping_of(
        columns=[], units=[], time="", zone="", day_first=None, decimal="", file=mapping
    )
    where, found = service.fit(Pipeline.of(bundle), file, exposure, given, measured)
    kept = str(service.write(bundle, where, found, file.name)) if write else None
    if json:
        document = service.document(where, found)
        emit({"schema": "tackfree.calibrate/1", **document, "written": kept})
        return
    print(service.text(where, found, kept))
