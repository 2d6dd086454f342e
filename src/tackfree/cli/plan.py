"""Commands that question a plan: why not, under other weather, from now on."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from tackfree.cli.common import Bundle, Json, Units, choice, emit, system

if TYPE_CHECKING:
    from tackfree.service.pipeline import Pipeline

Language = Annotated[
    str | None, typer.Option("--lang", help="en or es; else the job's first.", metavar="en|es")
]


def add_to(app: typer.Typer) -> None:
    """Hang the commands into the plan group."""
    app.command("stress", epilog="Try: tackfree plan stress demo/job --years 10")(stress)
    app.command("why-not", epilog="Try: tackfree plan why-not demo/job --by 2027-06-14")(why)
    app.command("trade", epilog="Try: tackfree plan trade demo/job")(trade)
    app.command(
        "replan",
        epilog="Try: tackfree plan replan demo/job --was demo/out/stages/plan.json "
        "--now 2027-05-05T07:00",
    )(replan)
    app.command("storm", epilog="Try: tackfree plan storm demo/job --rain 2027-04-22T18:30")(storm)


def stress(
    bundle: Bundle,
    years: Annotated[int, typer.Option("--years", help="Years made from its own file.")] = 10,
    weather: Annotated[
        list[Path] | None, typer.Option("--weather", help="A real year instead; repeat.")
    ] = None,
    plans: Annotated[int, typer.Option("--plans", help="Plans to choose among.")] = 1,
    workers: Annotated[int, typer.Option("--workers", help="Processes.")] = 1,
    address: Annotated[str | None, typer.Option("--dask", help="A Dask scheduler.")] = None,
    lang: Language = None,
    json: Json = False,
) -> None:
    """The plan under many weather years, and the date that holds in most of them."""
    from tackfree.cli.searching import searched
    from tackfree.service.planning import answers
    from tackfree.service.planning.stress import stress_job

    made = searched(bundle, quiet=json)
    report = stress_job(
        made, years=years, files=weather or (), plans=plans, workers=workers, address=address
    )
    if json:
        emit(answers.stress_document(made, report))
        return
    print(answers.stress_text(made, report, _lang(made, lang)))


def why(
    bundle: Bundle,
    by: Annotated[str | None, typer.Option("--by", help="Local date to be done by.")] = None,
    stalls_open: Annotated[
        float | None, typer.Option("--stalls-open", help="Share of stalls kept open, 0 to 1.")
    ] = None,
    lang: Language = None,
    json: Json = False,
) -> None:
    """Whether it can be done by a date; if not, the rules that stand against it and what helps."""
    from tackfree.service.pipeline import Pipeline
    from tackfree.service.planning import answers
    from tackfree.service.planning.why import why_not_by

    made = Pipeline.of(bundle)
    found = why_not_by(made, by, stalls_open)
    if json:
        emit(answers.why_document(made, found))
        return
    print(answers.why_text(made, found, _lang(made, lang)))


def trade(bundle: Bundle, lang: Language = None, json: Json = False) -> None:
    """When the job ends, against how many stalls stay open."""
    from tackfree.service.pipeline import Pipeline
    from tackfree.service.planning import answers
    from tackfree.service.planning import why as service

    made = Pipeline.of(bundle)
    curve = service.trade(made)
    if json:
        emit(answers.trade_document(made, curve))
        return
    print(answers.trade_text(made, curve, _lang(made, lang)))


def replan(
    bundle: Bundle,
    was: Annotated[Path, typer.Option("--was", help="The plan in force, as JSON.")],
    now: Annotated[str, typer.Option("--now", help="Local moment to plan from.")],
    frozen_days: Annotated[int, typer.Option("--frozen-days", help="Days that stay.")] = 2,
    lang: Language = None,
    json: Json = False,
) -> None:
    """The plan from now on: done work stands, the next days stay, the changes are listed."""
    from tackfree.service.pipeline import Pipeline
    from tackfree.service.planning import answers
    from tackfree.service.planning import replan as service

    made = Pipeline.of(bundle)
    report = service.replan_job(bundle, made, service.read_plan(was), now, frozen_days=frozen_days)
    if json:
        emit(answers.replan_document(made, report))
        return
    print(answers.replan_text(made, report, _lang(made, lang)))


def storm(
    bundle: Bundle,
    rain: Annotated[str, typer.Option("--rain", help="When it begins, job time.")],
    units: Units = None,
    lang: Language = None,
    json: Json = False,
) -> None:
    """Where to stop before rain, which kit marks to tarp, and what is left primed."""
    from tackfree.service import placed, report
    from tackfree.service.papers import zone_of
    from tackfree.service.pipeline import Pipeline
    from tackfree.service.planning import storm as service

    made = Pipeline.of(bundle)
    at = report.moment(rain, zone_of(made), "--rain")
    found = service.storm(made, placed.logged(placed.clock_entries(bundle)), at)
    if json:
        emit(service.document(made, found))
        return
    print(service.text(made, found, system(units, made.job.units), _lang(made, lang)))


def _lang(made: Pipeline, asked: str | None) -> str:
    """The language asked for, else the job's first."""
    from tackfree.words import LANGUAGES

    return choice(asked or made.job.languages[0], LANGUAGES, "--lang")
