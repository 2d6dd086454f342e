"""What every command shares: options, printing, refusing."""

from __future__ import annotations

import json
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from tackfree.errors import Fault

if TYPE_CHECKING:
    from tackfree.units import System

Json = Annotated[bool, typer.Option("--json", help="One JSON document on stdout.")]
Units = Annotated[
    str | None, typer.Option("--units", help="us or si; printed text only.", metavar="us|si")
]
Out = Annotated[Path | None, typer.Option("--out", help="Folder to write into.", metavar="DIR")]
Explain = Annotated[bool, typer.Option("--explain", help="Show formula, inputs and source.")]
Bundle = Annotated[Path, typer.Argument(help="A job bundle: a folder or a zip.", metavar="B")]


def emit(document: Any) -> None:
    """Data to stdout."""
    from tackfree.service.save import dumps

    sys.stdout.write(dumps(document))


def talk(text: str = "") -> None:
    """Talk to stderr."""
    print(text, file=sys.stderr)


def refuse(faults: Sequence[Fault], *, as_json: bool) -> None:
    """Show why nothing was done. Exit code 1 is the caller's."""
    rows = [{"where": f.where, "what": f.what, "do": f.do} for f in faults]
    if as_json:
        document = {"schema": "tackfree.refused/1", "refused": rows}
        print(json.dumps(document, ensure_ascii=False, indent=1))
    count = len(rows)
    talk("Refused:" if count == 1 else f"Refused, {count} reasons:")
    for f in faults:
        talk(f"  {f.where}: {f.what}" if f.where else f"  {f.what}")
        if f.do:
            talk(f"    {f.do}")


def system(units: str | None, default: str = "us") -> System:
    """The unit system to print in."""
    wanted = units or default
    if wanted == "us":
        return "us"
    if wanted == "si":
        return "si"
    raise typer.BadParameter("write us or si", param_hint="--units")


def choice(text: str, choices: Sequence[str], where: str) -> str:
    """One of a few words, or misuse."""
    if text in choices:
        return text
    raise typer.BadParameter(f"write {' or '.join(choices)}", param_hint=where)
