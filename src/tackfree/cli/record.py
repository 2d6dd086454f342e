"""``record``: add, list, verify, day, letter, export, import, backup, restore."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from tackfree.cli.common import Bundle, Json, Out, emit, refuse, talk

if TYPE_CHECKING:
    from tackfree.sheets.daily import RecordPaper

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


@app.command("day", epilog="Try: tackfree record day my-deck --date 2027-04-20")
def day(
    bundle: Bundle,
    date: Annotated[str, typer.Option("--date", help="The day on the job's clock.")],
    out: Annotated[
        Path | None, typer.Option("--out", help="Write it as PDF too.", metavar="FILE")
    ] = None,
    json: Json = False,
) -> None:
    """The daily report: crew hours, areas, kits, conditions, delays, and what is in doubt."""
    from tackfree.service.recording import day as service

    _paper("tackfree.record-day/1", service.day_of(bundle, date), out, json)


@app.command("letter", epilog="Try: tackfree record letter B --since 2027-04-19 --until 2027-04-23")
def letter(
    bundle: Bundle,
    since: Annotated[str, typer.Option("--since", help="The first day.")],
    until: Annotated[str, typer.Option("--until", help="The last day.")],
    to: Annotated[str, typer.Option("--to", help="Whom it is written to.")] = "",
    out: Annotated[
        Path | None, typer.Option("--out", help="Write it as PDF too.", metavar="FILE")
    ] = None,
    json: Json = False,
) -> None:
    """A notice of delay: what held the work up, for how long, and the readings of those days."""
    from tackfree.service.recording import day as service

    _paper("tackfree.record-letter/1", service.letter_of(bundle, since, until, to), out, json)


def _paper(schema: str, paper: RecordPaper, out: Path | None, json: bool) -> None:
    from tackfree.service.save import write_atomic
    from tackfree.sheets.daily import render_record_paper, text_of

    if out is not None:
        write_atomic(out, render_record_paper(paper))
    if json:
        emit({"schema": schema, "paper": paper})
        return
    print(text_of(paper))


@app.command("export", epilog="Try: tackfree record export my-deck --out my-deck-record")
def export(bundle: Bundle, out: Out = None, json: Json = False) -> None:
    """Write the record as JSON lines, tables by kind, and photos."""
    from tackfree.service.recording import keep

    files = keep.export(bundle, out or Path(f"{bundle.name}-record"))
    if json:
        emit({"schema": "tackfree.record-files/1", "files": list(files)})
        return
    for name in files:
        print(name)


@app.command("import", epilog="Try: tackfree record import my-deck readings.csv --person 'R. Roe'")
def import_(
    bundle: Bundle,
    source: Annotated[
        Path, typer.Argument(help="An export, a phone's file, or a CSV table.", metavar="FILE")
    ],
    person: Annotated[str, typer.Option("--person", help="Who read what a table holds.")] = "",
    instrument: Annotated[
        str, typer.Option("--logger", help="The table is of this logger, not of gauge readings.")
    ] = "",
    place: Annotated[str, typer.Option("--place", help="Where the logger lay.")] = "",
    column: Annotated[
        list[str] | None, typer.Option("--column", help="Ours=theirs, as surface_c=Deck.")
    ] = None,
    unit: Annotated[
        list[str] | None, typer.Option("--unit", help="Of a logger's column, as air_c=F.")
    ] = None,
    zone: Annotated[
        str, typer.Option("--zone", help="The logger's clock: America/New_York, -05:00 or UTC.")
    ] = "",
    day_first: Annotated[
        bool | None, typer.Option("--day-first/--month-first", help="How 03/04 is read.")
    ] = None,
    json: Json = False,
) -> None:
    """Take entries in: an export again, a phone's file, gauge readings or a logger's file.

    The same file a second time adds nothing.
    """
    from tackfree.service import record
    from tackfree.service.recording import csv_in, keep

    who = person or record.this_person()
    brought = None
    if instrument:
        from tackfree.service.weather import mapping_of

        given = mapping_of(
            columns=column or [], units=unit or [], time="", zone=zone, day_first=day_first,
            decimal="", file=None,
        )  # fmt: skip
        brought = csv_in.take_logger(
            bundle, source, person=who, instrument=instrument, place=place or None, columns=given
        )
    elif source.suffix.lower() in (".csv", ".tsv", ".txt"):
        brought = csv_in.take_readings(bundle, source, person=who, day_first=day_first)
    counts = brought.counts if brought else keep.take_file(bundle, source)
    span = {"first": brought.first, "last": brought.last} if brought else {}
    if json:
        emit({"schema": "tackfree.record-import/1", **counts, **span})
        return
    print(", ".join(f"{n} {status}" for status, n in counts.items()))
    if brought:
        print(f"{brought.first:%Y-%m-%d %H:%M} to {brought.last:%Y-%m-%d %H:%M}, the job's clock.")


@app.command("backup", epilog="Try: tackfree record backup my-deck --out my-deck-backup.zip")
def backup(
    bundle: Bundle,
    out: Annotated[Path, typer.Option("--out", help="The zip to write.", metavar="FILE")],
    json: Json = False,
) -> None:
    """The whole record, its photos and the job's files as one zip."""
    from tackfree.service.recording import keep

    counts = keep.back_up(bundle, out)
    if json:
        emit({"schema": "tackfree.record-backup/1", "file": str(out), "counts": counts})
        return
    print(f"{out}: " + ", ".join(f"{n} {name}" for name, n in counts.items()))


@app.command("restore", epilog="Try: tackfree record restore my-deck-backup.zip my-deck-again")
def restore(
    source: Annotated[Path, typer.Argument(help="A backup.", metavar="FILE")],
    bundle: Annotated[Path, typer.Argument(help="The bundle to make.", metavar="B")],
    replace: Annotated[
        bool, typer.Option("--replace", help="Set a record that is there aside; it is kept.")
    ] = False,
    json: Json = False,
) -> None:
    """Make a bundle and its record again from a backup, compared byte for byte."""
    from tackfree.service.recording import keep

    counts = keep.restore(source, bundle, replace=replace)
    if json:
        emit({"schema": "tackfree.record-restore/1", "bundle": str(bundle), "counts": counts})
        return
    print(f"{bundle}: " + ", ".join(f"{n} {name}" for name, n in counts.items()))
