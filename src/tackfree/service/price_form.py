"""Prices, rates and wear as a form: what may be changed, what is wrong, saved with a way back."""

from __future__ import annotations

import hashlib
import tomllib
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tackfree.bundle.checks import all_faults
from tackfree.bundle.documents.price import PriceDoc
from tackfree.bundle.edit import changed_text
from tackfree.bundle.load import documents
from tackfree.bundle.price import FILE
from tackfree.bundle.read import read, take
from tackfree.errors import Fault, InputError, Refused
from tackfree.record.revisions import Revision, revisions, save_revision
from tackfree.record.store import open_record
from tackfree.service.price_lines import (
    FIELDS,
    NEW,
    NEW_FIELDS,
    OUT,
    changes_of,
    field_name,
    field_of,
    raw_of,
    rows_of,
    stands,
    usual,
)
from tackfree.service.record import where_of
from tackfree.service.save import write_atomic


@dataclass(frozen=True, kw_only=True)
class FormField:
    """One value: its name in the form, its key, what stands in it, and what is wrong."""

    name: str
    key: str
    text: str
    usual: str = ""  # our own default, where it is left empty
    faults: tuple[Fault, ...] = ()


@dataclass(frozen=True, kw_only=True)
class FormRow:
    """One product, piece or item with its fields; ``id`` is "" for single values."""

    id: str
    name: str
    fields: tuple[FormField, ...]
    out: str = ""  # the name of the field that takes the line out, where that may be
    goes: bool = False
    new: bool = False


@dataclass(frozen=True, kw_only=True)
class PriceForm:
    """The form as a whole. ``mark`` tells whether the file has changed since."""

    mark: str
    tables: tuple[tuple[str, tuple[FormRow, ...]], ...]
    faults: tuple[Fault, ...] = ()  # those of no one field


def price_form(
    root: Path, typed: Mapping[str, str] | None = None, faults: tuple[Fault, ...] = ()
) -> PriceForm:
    """The form for a bundle's price list, or what was typed with its faults.

    Every product of the job has a row, priced or not, and so has every kind of wear. Tables
    of the contractor's own lines end with an empty one.
    """
    text = _text(root)
    raw = raw_of(text)
    given = typed or {}
    lines = changes_of(root, raw, given).lines
    mine: dict[str, list[Fault]] = defaultdict(list)
    for f in faults:
        mine[field_of(f.where, lines)].append(f)
    shown: set[str] = set()

    def fields(table: str, row_id: str, keys: Sequence[str], found: Mapping[str, Any]) -> Any:
        for key in keys:
            name = field_name(table, row_id, key)
            shown.add(name)
            yield FormField(
                name=name,
                key=key,
                text=given.get(name, stands(found, key)),
                usual=usual(table, row_id, key),
                faults=tuple(mine.get(name, ())),
            )

    tables = []
    for table, keys in FIELDS.items():
        rows = []
        for row_id, name, found in rows_of(root, raw, table):
            out = field_name(table, row_id, OUT) if table in NEW_FIELDS and found else ""
            rows.append(
                FormRow(
                    id=row_id,
                    name="" if "name" in keys else name,
                    fields=tuple(fields(table, row_id, keys, found)),
                    out=out,
                    goes=bool(given.get(out)),
                )
            )
        if table in NEW_FIELDS:
            empty = tuple(fields(table, NEW, NEW_FIELDS[table], {}))
            rows.append(FormRow(id="", name="", fields=empty, new=True))
        tables.append((table, tuple(rows)))
    left = tuple(f for name, found in mine.items() if name not in shown for f in found)
    return PriceForm(mark=_mark(text), tables=tuple(tables), faults=left)


def save_prices(root: Path, typed: Mapping[str, str], *, mark: str, person: str = "") -> None:
    """Write what was typed, or refuse with every fault at once and change nothing.

    The document as it was is kept as a revision of the record before the file is
    replaced, and the new one after.

    Raises
    ------
    Refused
        With each fault by its place in the price list.
    """
    text = _text(root)
    if mark != _mark(text):
        raise Refused(
            [
                Fault(
                    where=FILE,
                    what="the price list has changed since this form was opened.",
                    do="Compare what you typed with the page of prices, then save again.",
                )
            ]
        )
    raw = raw_of(text)
    changes = changes_of(root, raw, typed).places
    if not changes:
        return
    if not raw:
        changes = {("", None, "schema_version"): 1, **changes}
    try:
        made = changed_text(text, changes)
    except ValueError:
        raise InputError(
            "the price list is laid out in a way that a form cannot change.",
            where=FILE,
            do="Change it in a text editor, or give each table a heading of its own.",
        ) from None
    faults = _faults(root, made)
    if faults:
        raise Refused(faults)
    _replace(root, made, person)


def former_prices(root: Path) -> Revision | None:
    """The newest revision whose price list is not the one that stands, if there is one."""
    where = where_of(root)
    if isinstance(where, Path) and not where.exists():
        return None
    text = _text(root)
    with open_record(where) as record:
        kept = revisions(record, _job_id(root))
    return next((r for r in reversed(kept) if r.documents.get(FILE, text) != text), None)


def put_back(root: Path, *, person: str = "") -> None:
    """Put the former prices back; what stands now becomes the former.

    Raises
    ------
    InputError
        If no other prices have been kept.
    """
    former = former_prices(root)
    if former is None:
        raise InputError("no other prices have been kept.", where=FILE, do="Change a price first.")
    _replace(root, former.documents[FILE], person)


def _replace(root: Path, text: str, person: str) -> None:
    job_id = _job_id(root)
    with open_record(where_of(root)) as record:
        save_revision(record, documents(root), job_id=job_id, person=person)
        write_atomic(root / FILE, text)
        save_revision(record, documents(root), job_id=job_id, person=person)


def _job_id(root: Path) -> str:
    return str(tomllib.loads((root / "job.toml").read_text("utf-8-sig")).get("id", ""))


def _text(root: Path) -> str:
    path = root / FILE
    return path.read_text("utf-8-sig") if path.is_file() else ""


def _mark(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


def _faults(root: Path, text: str) -> tuple[Fault, ...]:
    """Every fault that the price list would have."""
    docs = read(root)
    docs.found.pop(FILE, None)
    docs.faults = [f for f in docs.faults if not f.where.startswith(FILE)]
    take(docs, FILE, PriceDoc, tomllib.loads(text))
    return tuple(f for f in all_faults(docs) if f.where.startswith(FILE))
