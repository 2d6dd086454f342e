"""Prices, rates and wear as a form: what may be changed, what is wrong, saved with a way back."""

from __future__ import annotations

import hashlib
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tackfree.bundle.checks import all_faults
from tackfree.bundle.documents.price import PriceDoc
from tackfree.bundle.edit import Place, changed_text
from tackfree.bundle.load import documents
from tackfree.bundle.price import FILE
from tackfree.bundle.read import read, take
from tackfree.errors import Fault, InputError, Refused
from tackfree.record.revisions import Revision, revisions, save_revision
from tackfree.record.store import open_record
from tackfree.service.record import where_of
from tackfree.service.save import write_atomic
from tackfree.supply.price_types import WORK_ERRORS
from tackfree.supply.sundries import DEFAULTS, Wear
from tackfree.units import show

WHOLE = {"lead_days", "pallet", "room", "count"}
REAL = {"lost_days", "one_for", "allowance"}
MONEY = {"each", "per_day", "person_hour", "freight"}
IDS = {"materials": "product", "sundries": "id", "equipment": "id", "lumps": "id",
       "unit_items": "id"}  # fmt: skip
FIELDS: Mapping[str, tuple[str, ...]] = {
    "": ("currency", "person_hour", "overhead", "margin", "freight", "lost_days", "learning"),
    "scatter": ("all_work", "kind", "allowance"),
    "materials": ("each", "lead_days", "returns", "pallet", "room"),
    "sundries": ("each", "lasts"),
    "equipment": ("per_day",),
    "lumps": ("each", "count"),
    "unit_items": ("each", "allowance"),
}
_WORDS_MAX = 200  # characters of one field


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

    Every product of the job has a row, priced or not, and so has every kind of wear.
    """
    text = _text(root)
    raw = _raw(text)
    mine = {_field_of(f.where, raw): f for f in faults}
    left = [f for f in faults if not _field_of(f.where, raw)]
    tables = []
    for table, keys in FIELDS.items():
        rows = []
        for row_id, name, found in _rows(root, raw, table):
            fields = []
            for key in keys:
                at = ".".join(p for p in (table, row_id, key) if p)
                stands = _stands(found, key)
                here = tuple(f for n, f in mine.items() if n == at)
                fields.append(
                    FormField(
                        name=at,
                        key=key,
                        text=(typed or {}).get(at, stands),
                        usual=_usual(table, row_id, key),
                        faults=here,
                    )
                )
            rows.append(FormRow(id=row_id, name=name, fields=tuple(fields)))
        tables.append((table, tuple(rows)))
    shown = {f.name for _, rows in tables for r in rows for f in r.fields}
    left += [f for n, f in mine.items() if n and n not in shown]
    return PriceForm(mark=_mark(text), tables=tuple(tables), faults=tuple(left))


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
    raw = _raw(text)
    changes = _changes(root, raw, typed)
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


def _raw(text: str) -> dict[str, Any]:
    """The price list as it is written; empty where it is no TOML, as the faults then say."""
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        return {}


def _mark(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


def _rows(
    root: Path, raw: Mapping[str, Any], table: str
) -> list[tuple[str, str, Mapping[str, Any]]]:
    """Id, name and values of each row of a table; products and wear without one too."""
    if not table:
        return [("", "", raw)]
    found = raw.get(table)
    if table == "scatter":
        return [("", "", found if isinstance(found, dict) else {})]
    listed = [r for r in found if isinstance(r, dict)] if isinstance(found, list) else []
    rows = {str(r.get(IDS[table], "")): r for r in listed}
    names = {i: str(r.get("name", "")) for i, r in rows.items()}
    if table == "materials":
        names = {}
        for product in _raw((root / "products.toml").read_text("utf-8-sig")).get("products", ()):
            names[str(product.get("id", ""))] = str(product.get("name", ""))
    if table == "sundries":
        names = {**{w.id: "" for w in DEFAULTS}, **names}
    return [(i, names.get(i, ""), rows.get(i, {})) for i in dict.fromkeys([*rows, *names])]


def _stands(row: Mapping[str, Any], key: str) -> str:
    """What the file has for a field, as text."""
    value = row.get(key)
    if key == "lasts":
        value = row.get("one_for_area", row.get("one_for"))
    return "" if value is None else f"{value}"


def _usual(table: str, row_id: str, key: str) -> str:
    """Our own value, used where a field is left empty."""
    if table == "scatter":
        return f"{100 * getattr(WORK_ERRORS, key):g} %"
    if table == "sundries" and key == "lasts":
        wear = next((w for w in DEFAULTS if w.id == row_id), None)
        return _lasts(wear) if wear else ""
    return {"learning": "100 %", "lost_days": "0", "pallet": "1", "count": "1"}.get(key, "")


def _lasts(wear: Wear) -> str:
    return show(wear.one_for, "area", "us") if wear.per == "area" else f"{wear.one_for:g}"


def _changes(root: Path, raw: Mapping[str, Any], typed: Mapping[str, str]) -> dict[Place, Any]:
    """What is typed and differs from the file, by its place in the document."""
    changes: dict[Place, Any] = {}
    currency = typed.get("currency", "").strip() or str(raw.get("currency", ""))
    for table, keys in FIELDS.items():
        listed = raw.get(table) if table in IDS else None
        past = len(listed) if isinstance(listed, list) else 0
        for row_id, _, found in _rows(root, raw, table):
            at: int | None = None
            new: dict[Place, Any] = {}
            if table in IDS:
                places = [str(r.get(IDS[table], "")) for r in listed or ()]
                at = places.index(row_id) if row_id in places else past
            for key in keys:
                text = typed.get(".".join(p for p in (table, row_id, key) if p))
                if text is None or text.strip() == _stands(found, key):
                    continue
                value = _value(key, text.strip()[:_WORDS_MAX], currency)
                new.update(_places(table, at, row_id, key, value, found))
            if new and at == past and table in IDS:
                new = {(table, at, IDS[table]): row_id, **new}
                past += 1
            changes.update(new)
    return changes


def _places(
    table: str, at: int | None, row_id: str, key: str, value: Any, row: Mapping[str, Any]
) -> dict[Place, Any]:
    if key != "lasts":
        return {(table, at, key): value}
    ours = next((w for w in DEFAULTS if w.id == row_id), None)
    per = str(row.get("per") or (ours.per if ours else "kits"))
    if value is None:
        return {(table, at, k): None for k in ("per", "one_for", "one_for_area") if k in row}
    out: dict[Place, Any] = {}
    if "per" not in row:
        out[table, at, "per"] = per
        if ours and ours.roles:
            out[table, at, "roles"] = list(ours.roles)
    area = per == "area"
    out[table, at, "one_for_area" if area else "one_for"] = value if area else _number(value, float)
    return out


def _value(key: str, text: str, currency: str) -> Any:
    """A typed text as the document has it; what it is not stays text, to be refused."""
    if not text:
        return None
    if key in WHOLE:
        return _number(text, int)
    if key in REAL:
        return _number(text, float)
    if key in MONEY and re.fullmatch(r"\d+(?:[.,]\d{1,2})?", text):
        return f"{text} {currency}"
    return text


def _number(text: Any, kind: type[int] | type[float]) -> Any:
    try:
        return kind(str(text).replace(",", "."))
    except ValueError:
        return text


def _faults(root: Path, text: str) -> tuple[Fault, ...]:
    """Every fault that the price list would have."""
    docs = read(root)
    docs.found.pop(FILE, None)
    docs.faults = [f for f in docs.faults if not f.where.startswith(FILE)]
    take(docs, FILE, PriceDoc, tomllib.loads(text))
    return tuple(f for f in all_faults(docs) if f.where.startswith(FILE))


_PLACE = re.compile(r"^price\.toml, (?:(\w+)\[(\d+)\])?\.?(\w+)?(?:\.(\w+))?")


def _field_of(where: str, raw: Mapping[str, Any]) -> str:
    """The field of the form that a fault's place means; "" for none."""
    found = _PLACE.match(where)
    if not found:
        return ""
    table, at, key, deeper = found.groups()
    if table is None:
        return ".".join(p for p in (key, deeper) if p) if key else ""
    if table not in IDS:
        return ""
    rows = raw.get(table)
    rows = rows if isinstance(rows, list) else []
    if int(at) >= len(rows):
        return ""  # a row that is not in the file yet
    row_id = str(rows[int(at)].get(IDS[table], ""))
    if table == "sundries" and key != "each":
        key = "lasts"
    return f"{table}.{row_id}.{key}"
