"""``record add``, ``record list``, ``record verify``."""

from __future__ import annotations

from typing import Annotated

import typer

from tackfree.cli.common import Bundle, Json, emit, refuse, talk

app = typer.Typer(no_args_is_help=True, help="What happened on the deck; entries are only added.")


@app.command("add", epilog="Try: tackfree record add my-deck 'Gate closed at 6:40, cones out'")
def add(
    bundle: Bundle,
    body: Annotated[str, typer.Argument(help="Words, or a JSON object of the kind.")],
    kind: Annotated[str, typer.Option("--kind", help="Such as note, film-reading.")] = "note",
    person: Annotated[str | None, typer.Option("--person", help="Who says it.")] = None,
    json: Json = False,
) -> None:
    """Append one entry. It is stored once and cannot be changed."""
    from tackfree.service import record

    added = record.add(bundle, kind=kind, body=record.body_of(body), person=person)
    if json:
        emit({"schema": "tackfree.record-add/1", "entry": added})
        return
    print(f"{added.status}: {added.id} (job revision {added.revision})")


@app.command("list", epilog="Try: tackfree record list my-deck")
def list_(bundle: Bundle, json: Json = False) -> None:
    """Entries in the order of arrival."""
    from tackfree.service import record

    rows = record.listed(bundle)
    if json:
        emit({"schema": "tackfree.record-list/1", "entries": rows})
        return
    for e in rows:
        said = ", ".join(f"{k} {v}" for k, v in e.body.items() if v is not None)
        print(f"{e.pos}  {e.wall}  {e.person}  {e.kind}: {said}")
    if not rows:
        talk("No entries yet.")


@app.command("verify", epilog="Try: tackfree record verify my-deck")
def verify(bundle: Bundle, json: Json = False) -> None:
    """Read the whole record and hash it again: what is missing, altered or held."""
    from tackfree.service import record

    count, faults = record.verified(bundle)
    if faults:
        refuse(faults, as_json=json)
        raise typer.Exit(1)
    if json:
        emit({"schema": "tackfree.record-verify/1", "entries": str(count), "faults": []})
        return
    print(f"{count} entries, every chain whole.")
