"""Commands of plan, shift and serve, and the hanging of every group into the tree."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from tackfree.cli import deck, materials, plan_faces
from tackfree.cli import plan as planning
from tackfree.cli.common import Bundle, Json, Out, emit, talk
from tackfree.cli.weather import clock, weather

plan = typer.Typer(no_args_is_help=True, help="Crews into windows.")
shift = typer.Typer(no_args_is_help=True, help="The foreman's page.")


def add_to(app: typer.Typer) -> None:
    """Hang the stage commands into the tree."""
    app.add_typer(deck.app, name="deck")
    app.add_typer(materials.app, name="materials")
    app.add_typer(weather, name="weather")
    app.add_typer(clock, name="clock")
    planning.add_to(plan)
    plan_faces.add_to(plan)
    app.add_typer(plan, name="plan")
    app.add_typer(shift, name="shift")
    app.command("serve", epilog="Try: tackfree serve demo/job")(serve)


@plan.command("make", epilog="Try: tackfree plan make demo/job --json > plan.json")
def make(bundle: Bundle, json: Json = False) -> None:
    """A plan with its status and bound; the JSON holds its problem."""
    from tackfree.cli.searching import searched
    from tackfree.service import documents, report

    made = searched(bundle, quiet=json)
    if json:
        emit({"schema": "tackfree.plan/1", **documents.plan(made)})
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
    lan: Annotated[
        bool, typer.Option("--lan", help="Let phones of this network in: TLS and invitations.")
    ] = False,
    name: Annotated[
        list[str] | None, typer.Option("--name", help="Name or address phones use; with --lan.")
    ] = None,
    team: Annotated[
        bool, typer.Option("--team", help="Ask everybody who they are, on this machine too.")
    ] = False,
    beside: Annotated[
        list[Path] | None, typer.Option("--beside", help="Output of another job, to compare.")
    ] = None,
) -> None:
    """The pages of a built job: for one person on this machine, or for a team."""
    from tackfree.service import serving

    ready = serving.ready(bundle, out, say=talk)
    if lan:
        from tackfree.service.tls import names_of_this_machine
        from tackfree.web.lan import run_lan

        names = dict.fromkeys([*(name or []), *names_of_this_machine()])
        run_lan(ready, bundle, tuple(names), port, beside=tuple(beside or ()), say=talk)
        return
    from tackfree.web.app import run

    run(ready, bundle, host, port, team=team, beside=tuple(beside or ()), say=talk)
