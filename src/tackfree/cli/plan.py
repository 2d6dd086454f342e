"""Commands that question a plan: why not, under other weather, from now on."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from tackfree.cli.common import Bundle, Json, emit


def add_to(app: typer.Typer) -> None:
    """Hang the commands into the plan group."""
    app.command("stress", epilog="Try: tackfree plan stress demo/job --years 10")(stress)


def stress(
    bundle: Bundle,
    years: Annotated[int, typer.Option("--years", help="Years made from its own file.")] = 10,
    weather: Annotated[
        list[Path] | None, typer.Option("--weather", help="A real year instead; repeat.")
    ] = None,
    plans: Annotated[int, typer.Option("--plans", help="Plans to choose among.")] = 1,
    workers: Annotated[int, typer.Option("--workers", help="Processes.")] = 1,
    address: Annotated[str | None, typer.Option("--dask", help="A Dask scheduler.")] = None,
    json: Json = False,
) -> None:
    """The plan under many weather years, and the date that holds in most of them."""
    from tackfree.service.pipeline import Pipeline
    from tackfree.service.planning import answers
    from tackfree.service.planning.stress import stress_job

    made = Pipeline.of(bundle)
    report = stress_job(
        made, years=years, files=weather or (), plans=plans, workers=workers, address=address
    )
    if json:
        emit(answers.stress_document(made, report))
        return
    print(answers.stress_text(made, report))
