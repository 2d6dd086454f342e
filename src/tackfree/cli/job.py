"""``job new``, ``job check``, ``job build``, ``job compare``."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from tackfree.cli.common import Bundle, Json, Out, Units, emit, refuse, system, talk

app = typer.Typer(
    no_args_is_help=True,
    help="Start a job, check it, build every sheet of it.",
    epilog="Try: tackfree job new my-deck && tackfree job build my-deck --out my-sheets",
)


@app.command("new", epilog="Try: tackfree job new my-deck")
def new(
    folder: Annotated[Path, typer.Argument(help="A new or empty folder.", metavar="DIR")],
    demo: Annotated[bool, typer.Option("--demo", help="Start from the demo job.")] = False,
    json: Json = False,
) -> None:
    """Write a small job bundle that works, to start from."""
    from tackfree.service import job as service

    written = service.new(folder, demo=demo)
    if json:
        emit({"schema": "tackfree.job-new/1", "bundle": str(folder), "files": written})
        return
    talk(f"Wrote {len(written)} files into {folder}. All its data is invented: replace it.")
    talk(f"Next: tackfree job check {folder}")


@app.command("check", epilog="Try: tackfree job check demo/job")
def check(bundle: Bundle, json: Json = False) -> None:
    """Report every fault of a bundle at once: file, key, value, what to do."""
    from tackfree.service import job as service

    faults, notes = service.check(bundle)
    if faults:
        refuse(faults, as_json=json)
        raise typer.Exit(1)
    if json:
        emit({"schema": "tackfree.job-check/1", "bundle": str(bundle), "notes": notes})
        return
    from tackfree.words import say

    for note in notes:
        talk(f"Note: {say(note)}")
    print(f"{bundle}: no faults.")


@app.command("build", epilog="Try: tackfree job build demo/job --out demo/out")
def build(bundle: Bundle, out: Out = None, json: Json = False) -> None:
    """Run the whole job and write every sheet.

    Drawing, takeoff, sections, materials, slab temperature, windows, plan, clocks,
    shift sheets, order, calendar and summary, all under --out, whole or not at all.
    """
    from tackfree.cli.progress import bar
    from tackfree.service import build as service

    out = out or Path(f"{bundle.name.removesuffix('.zip')}-out")
    with bar(quiet=json) as progress:
        built = service.build(bundle, out, progress=progress)
    if json:
        emit(built.to_json())
        return
    for line in built.lines():
        print(line)


@app.command("compare", epilog="Try: tackfree job compare demo/job my-deck --out changes")
def compare(
    bundle: Bundle,
    later: Annotated[Path, typer.Argument(help="The later revision.", metavar="B2")],
    out: Out = None,
    units: Units = None,
    json: Json = False,
) -> None:
    """What an addendum moved in area, features and kits; with --out on the drawings."""
    from tackfree.service import compare as service

    found = service.compare_jobs(bundle, later)
    if out:
        for name in service.write(found, out):
            talk(f"Wrote {name}")
    if json:
        emit({"schema": "tackfree.job-compare/1", **service.document(found)})
        return
    print(service.text(found, system(units, found.after.job.units)))
