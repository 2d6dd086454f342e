"""The command tree. Each command imports what it needs when it runs."""

from __future__ import annotations

import sys
from typing import Annotated

import typer

from tackfree import __version__
from tackfree.cli import ask, film, job, marks, record, stages
from tackfree.cli.common import refuse, talk
from tackfree.errors import ToolError

app = typer.Typer(
    name="tackfree",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    help="From a deck drawing and a weather file to quantities, whole kits, recoat clocks, "
    "a plan and shift sheets.",
    epilog="Try: tackfree ask wet '60 ft2/gal'",
)


def _version(value: bool) -> None:
    if value:
        print(f"tackfree {__version__}")
        raise typer.Exit


@app.callback()
def root(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version.")
    ] = False,
) -> None:
    """Read, plan and record deck-coating work."""


app.add_typer(job.app, name="job")
app.add_typer(ask.app, name="ask")
app.add_typer(marks.app, name="marks")
app.add_typer(record.app, name="record")
app.add_typer(film.app, name="film")
stages.add_to(app)


def run() -> None:
    """Run the command line: 0 done, 1 refused with reasons, 2 misused."""
    try:
        app()
    except ToolError as fault:
        refuse(fault.faults, as_json="--json" in sys.argv)
        sys.exit(1)
    except KeyboardInterrupt:
        talk("Stopped; nothing half-written.")
        sys.exit(130)
    except BrokenPipeError:
        sys.stderr.close()
        sys.exit(0)
