"""What stands in a price list, line by line, and what typed fields make of it."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tackfree.bundle.edit import WHOLE, Place
from tackfree.bundle.price import FILE
from tackfree.supply.price_types import WORK_ERRORS
from tackfree.supply.sundries import DEFAULTS, Wear
from tackfree.units import show

COUNTS = {"lead_days", "pallet", "room", "count"}
REAL = {"lost_days", "one_for", "allowance"}
MONEY = {"each", "per_day", "person_hour", "freight"}
LISTS = {"steps", "build_ups", "lumps"}
IDS = {"materials": "product", "sundries": "id", "equipment": "id", "lumps": "id",
       "unit_items": "id", "bid": "item", "alternates": "id"}  # fmt: skip
FIELDS: Mapping[str, tuple[str, ...]] = {
    "": ("currency", "person_hour", "overhead", "margin", "freight", "lost_days", "learning"),
    "scatter": ("all_work", "kind", "allowance"),
    "materials": ("each", "lead_days", "returns", "pallet", "room"),
    "sundries": ("each", "lasts"),
    "equipment": ("name", "per_day", "steps"),
    "lumps": ("name", "each", "count"),
    "unit_items": ("name", "by", "each", "allowance"),
    "bid": ("text", "build_ups", "lumps"),
    "alternates": ("name", "swaps"),
}
# Fields of a line that is not in the list yet; the first is its id.
NEW_FIELDS: Mapping[str, tuple[str, ...]] = {
    "sundries": ("id", "name", "each", "per", "lasts"),
    **{t: (IDS[t], *FIELDS[t]) for t in ("equipment", "lumps", "unit_items", "bid", "alternates")},
}
NEW, OUT = "+", "-"  # a new line, and the field that takes a line out
WORDS_MAX = 200  # characters of one field


def field_name(table: str, row_id: str, key: str) -> str:
    """The name of a field of the form: ``lumps.MOB.each``."""
    return ".".join(p for p in (table, row_id, key) if p)


@dataclass(frozen=True, kw_only=True)
class Changes:
    """Values by their place in the document, and the ids of each table's lines after them."""

    places: dict[Place, Any]
    lines: dict[str, list[str]]


def raw_of(text: str) -> dict[str, Any]:
    """A document as it is written; empty where it is no TOML, as the faults then say."""
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        return {}


def rows_of(
    root: Path, raw: Mapping[str, Any], table: str
) -> list[tuple[str, str, Mapping[str, Any]]]:
    """Id, name and values of each row of a table; products and wear without one too."""
    if not table:
        return [("", "", raw)]
    found = raw.get(table)
    if table == "scatter":
        return [("", "", found if isinstance(found, dict) else {})]
    rows = {str(r.get(IDS[table], "")): r for r in _listed(raw, table)}
    names = {i: str(r.get("name", "")) for i, r in rows.items()}
    if table == "materials":
        names = {}
        for product in raw_of((root / "products.toml").read_text("utf-8-sig")).get("products", ()):
            names[str(product.get("id", ""))] = str(product.get("name", ""))
    if table == "sundries":
        names = {**{w.id: "" for w in DEFAULTS}, **names}
    return [(i, names.get(i, ""), rows.get(i, {})) for i in dict.fromkeys([*rows, *names])]


def _listed(raw: Mapping[str, Any], table: str) -> list[Mapping[str, Any]]:
    found = raw.get(table)
    return [r for r in found if isinstance(r, dict)] if isinstance(found, list) else []


def stands(row: Mapping[str, Any], key: str) -> str:
    """What the file has for a field, as text."""
    value = row.get(key)
    if key == "lasts":
        value = row.get("one_for_area", row.get("one_for"))
    if isinstance(value, list):
        return ", ".join(map(str, value))
    if isinstance(value, dict):
        return ", ".join(f"{old} = {new}" for old, new in value.items())
    return "" if value is None else f"{value}"


def usual(table: str, row_id: str, key: str) -> str:
    """Our own value, used where a field is left empty."""
    if table == "scatter":
        return f"{100 * getattr(WORK_ERRORS, key):g} %"
    if table == "sundries" and key == "lasts":
        wear = next((w for w in DEFAULTS if w.id == row_id), None)
        return _lasts(wear) if wear else ""
    return {"learning": "100 %", "lost_days": "0", "pallet": "1", "count": "1"}.get(key, "")


def _lasts(wear: Wear) -> str:
    return show(wear.one_for, "area", "us") if wear.per == "area" else f"{wear.one_for:g}"


def changes_of(root: Path, raw: Mapping[str, Any], typed: Mapping[str, str]) -> Changes:
    """What is typed and differs from the file."""
    places: dict[Place, Any] = {}
    lines: dict[str, list[str]] = {}
    currency = typed.get("currency", "").strip() or str(raw.get("currency", ""))
    for table, keys in FIELDS.items():
        held = [str(r.get(IDS[table], "")) for r in _listed(raw, table)] if table in IDS else []
        gone = [i for i in held if typed.get(field_name(table, i, OUT))]
        places.update({(table, held.index(i), WHOLE): None for i in gone})
        added: list[str] = []
        rows = rows_of(root, raw, table)
        for row_id, _, found in rows:
            if row_id in gone:
                continue
            at: int | None = None
            if table in IDS:
                at = held.index(row_id) if row_id in held else len(held) + len(added)
            new = _row(typed, table, at, row_id, keys, found, currency)
            if new and at is not None and row_id not in held:
                new = {(table, at, IDS[table]): row_id, **new}
                added.append(row_id)
            places.update(new)
        if table in NEW_FIELDS:
            at = len(held) + len(added)
            new = _row(typed, table, at, NEW, NEW_FIELDS[table], {}, currency)
            if new:
                added.append(NEW)
                places.update(new)
        lines[table] = [i for i in held if i not in gone] + added
    return Changes(places=places, lines=lines)


def _row(
    typed: Mapping[str, str],
    table: str,
    at: int | None,
    row_id: str,
    keys: Sequence[str],
    found: Mapping[str, Any],
    currency: str,
) -> dict[Place, Any]:
    """Changed values of one line by their places."""
    new: dict[Place, Any] = {}
    for key in keys:
        text = typed.get(field_name(table, row_id, key))
        if text is None or text.strip() == stands(found, key):
            continue
        value = _value(key, text.strip()[:WORDS_MAX], currency)
        if key == "lasts":
            per = typed.get(field_name(table, row_id, "per"), "").strip() or found.get("per")
            new.update(_wear(table, at, row_id, value, found, per))
        else:
            new[table, at, key] = value
    return new


def _wear(
    table: str, at: int | None, row_id: str, value: Any, row: Mapping[str, Any], per: Any
) -> dict[Place, Any]:
    """How long one piece lasts: in area, or in what it is worn by."""
    ours = next((w for w in DEFAULTS if w.id == row_id), None)
    per = str(per or (ours.per if ours else "kits"))
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
    if key in COUNTS:
        return _number(text, int)
    if key in REAL:
        return _number(text, float)
    if key in MONEY and re.fullmatch(r"\d+(?:[.,]\d{1,2})?", text):
        return f"{text} {currency}"
    if key in LISTS:
        return [p.strip() for p in text.split(",") if p.strip()]
    if key == "swaps":
        pairs = [p.partition("=") for p in text.split(",") if p.strip()]
        whole = all(old.strip() and new.strip() for old, _, new in pairs)
        return {old.strip(): new.strip() for old, _, new in pairs} if whole else text
    return text


def _number(text: Any, kind: type[int] | type[float]) -> Any:
    try:
        return kind(str(text).replace(",", "."))
    except ValueError:
        return text


_PLACE = re.compile(rf"^{re.escape(FILE)}, (?:(\w+)\[(\d+)\])?\.?(\w+)?(?:\.(\w+))?")


def field_of(where: str, lines: Mapping[str, Sequence[str]]) -> str:
    """The field of the form that a fault's place means; "" for none."""
    found = _PLACE.match(where)
    if not found:
        return ""
    table, at, key, deeper = found.groups()
    if table is None:
        return ".".join(p for p in (key, deeper) if p) if key else ""
    ids = lines.get(table, ())
    if table not in IDS or int(at) >= len(ids):
        return ""
    row_id = ids[int(at)]
    if table == "sundries" and key not in (NEW_FIELDS[table] if row_id == NEW else ("each",)):
        key = "lasts"
    return field_name(table, row_id, key or "")
