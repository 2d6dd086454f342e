"""``film map``, ``film verdict``: what readings and kits show of the film."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from tackfree.cli.common import Bundle, Json, Out, Units, emit, system

app = typer.Typer(no_args_is_help=True, help="What readings and kits show of the film.")
Section = Annotated[str | None, typer.Option("--section", help="Section id.")]
CoatId = Annotated[str | None, typer.Option("--coat", help="Coat id, BASE.")]
Least = Annotated[
    str | None,
    typer.Option("--least", help="Ask about this wet film alone, '23 mil'.", metavar="FILM"),
]


@app.command("map", epilog="Try: tackfree film map my-deck --section P1-LANE-A-1 --coat BASE")
def map_(
    bundle: Bundle,
    section: Annotated[str, typer.Option("--section", help="Section id.")],
    coat: Annotated[str, typer.Option("--coat", help="Coat id, BASE.")],
    least: Least = None,
    out: Out = None,
    units: Units = None,
    json: Json = False,
) -> None:
    """Draw where the film is shown, short, or not known; the contract's rule first."""
    from tackfree.service import evidence_words as words
    from tackfree.service.pipeline import Pipeline

    made = Pipeline.of(bundle)
    (found,) = words.studies(made, bundle, section, coat, words.film_asked(least))
    file = words.write_map(found, out or Path(), system(units, made.job.units))
    if json:
        emit({"schema": "tackfree.film-map/1", "file": str(file), **words.document(found)})
        return
    print(file)


@app.command("verdict", epilog="Try: tackfree film verdict my-deck --section P1-LANE-A-1")
def verdict(
    bundle: Bundle,
    section: Section = None,
    coat: CoatId = None,
    least: Least = None,
    units: Units = None,
    json: Json = False,
) -> None:
    """SHOWN, SHORT or NOT SHOWN, patch by patch, and what to measure next."""
    from tackfree.service import evidence_words as words
    from tackfree.service.pipeline import Pipeline

    made = Pipeline.of(bundle)
    found = words.studies(made, bundle, section, coat, words.film_asked(least))
    if json:
        rows = [words.document(s) for s in found]
        emit({"schema": "tackfree.film-verdict/1", "studies": rows})
        return
    print("\n\n".join(words.text(s, system(units, made.job.units)) for s in found))
