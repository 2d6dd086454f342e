"""A table of gauge readings as people save it: its separator, encoding, headings and dates."""

from __future__ import annotations

import csv
import io
import re
import unicodedata
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from tackfree.bundle.clock import comes_twice, missing
from tackfree.errors import Fault, InputError, Refused
from tackfree.units.constants import M_PER_FT

LARGEST = 20_000_000
MARKS = (",", ";", "\t", "|")
_DATE = re.compile(
    r"(\d{1,2})([./-])(\d{1,2})\2(\d{4})[ T]+(\d{1,2}):(\d{2})(?::(\d{2}))?\s*([AaPp][Mm])?"
)


@dataclass(frozen=True, kw_only=True)
class Upload:
    """A file that came over the wire."""

    name: str
    data: bytes


def text_of(file: Path | Upload) -> str:
    """The text of a table: UTF-8 or UTF-16 with or without its mark, else Windows letters.

    Raises
    ------
    InputError
        If there is no file, it is too large, or it is no text.
    """
    if isinstance(file, Path):
        if not file.is_file():
            raise InputError("there is no such file.", where=str(file), do="Check its name.")
        if file.stat().st_size > LARGEST:
            raise InputError("it has more than 20 MB.", where=file.name, do="Split it.")
        raw = file.read_bytes()
    else:
        raw = file.data
    if raw[:2] in (b"\xff\xfe", b"\xfe\xff"):
        order: Sequence[str] = ("utf-16",)
    else:
        order = ("utf-8-sig", "cp1252")
    for encoding in order:
        try:
            text = raw.decode(encoding)
        except UnicodeDecodeError:
            continue
        if "\0" not in text:
            return text
    raise InputError("the file is no text.", where=file.name, do="Save it as CSV in UTF-8.")


def number(text: str) -> float:
    """A number with a point or a comma; "1,234.5" is not guessed at."""
    return float(text.replace(",", ".") if text.count(",") == 1 and "." not in text else text)


def _whole(text: str) -> float | int:
    value = number(text)
    return int(value) if value.is_integer() else value


def _yes(text: str) -> bool:
    known = {"yes": True, "y": True, "true": True, "1": True, "sí": True, "si": True,
             "no": False, "n": False, "false": False, "0": False}  # fmt: skip
    return known[text.lower()]


def _feet(text: str) -> float:
    return number(text) * M_PER_FT


Read = Callable[[str], Any]
# Heading -> field of the entry, and how its text becomes a value.
_HEADINGS: Mapping[str, tuple[str, Read]] = {
    "section": ("section", str),
    "coat": ("coat", str),
    "cell": ("cell", str),
    "x": ("x_m", number),
    "y": ("y_m", number),
    "unit": ("unit", str),
    "wet_tooth": ("wet_tooth", _whole),
    "dry_tooth": ("dry_tooth", _whole),
    "gauge": ("gauge", str),
    "gauge_checked": ("gauge_checked", _yes),
    "feet": ("feet", str),
    "after_sand": ("after_sand", _yes),
    "reader": ("reader", str),
}
_PLACES: Mapping[str, Read] = {"m": number, "ft": _feet}
_TEETH = {"mil": "mil", "mils": "mil", "um": "um", "µm": "um", "micron": "um", "microns": "um"}
_OWN = ("time", "date", "person")  # read apart


@dataclass(frozen=True, kw_only=True)
class Row:
    """One reading: its row of the file, moment, who, and the body of its entry."""

    number: int
    moment: datetime
    person: str
    body: dict[str, Any]


@dataclass(frozen=True, kw_only=True)
class _Head:
    fields: Mapping[int, tuple[str, str, Read]]  # column -> heading, field, reader
    own: Mapping[str, int]
    unit: str  # of the teeth, where a heading says it
    wrong: tuple[str, ...]


def rows_of(
    text: str, name: str, zone: ZoneInfo, *, person: str, day_first: bool | None = None
) -> tuple[Row, ...]:
    """Every reading of a table.

    Columns are ``time`` (or ``date`` and ``time``) and the headings of the record, in any
    letters, with their unit in the heading or not: ``x_ft``, ``X (ft)``, ``Wet tooth [mil]``.
    A time without an offset is on the job's clock.

    Raises
    ------
    Refused
        With every fault of every row.
    """
    lines = list(csv.reader(io.StringIO(text), delimiter=_mark(text)))
    filled = [(k, r) for k, r in enumerate(lines, 1) if any(c.strip() for c in r)]
    if len(filled) < 2:
        raise Refused([Fault(where=name, what="there is no row.",
                             do="Write a head and a row for each.")])  # fmt: skip
    (_, top), rows = filled[0], filled[1:]
    head = _head(top)
    faults = [Fault(where=f"{name}, head", what=w, do="Correct the head.") for w in head.wrong]
    if day_first is None:
        day_first = _day_first([_when(r, head) for _, r in rows])
    made = []
    for k, row in rows:
        body, wrong = _body(row, len(top), head)
        moment, late = _moment(_when(row, head), zone, day_first)
        wrong += [late] if late else []
        faults += [Fault(where=f"{name}, row {k}", what=w, do="Correct the row.") for w in wrong]
        if moment is not None and not wrong:
            at = head.own.get("person", len(row))
            who = row[at].strip() if at < len(row) else ""
            made.append(Row(number=k, moment=moment, person=who or person, body=body))
    if faults:
        raise Refused(faults)
    return tuple(made)


def _mark(text: str) -> str:
    first = next((line for line in text.splitlines() if line.strip()), "")
    return max(MARKS, key=first.count)


def _plain(heading: str) -> tuple[str, str]:
    """A heading as one word of ours, and the unit it ends with.

    >>> _plain("Wet tooth [mil]")
    ('wet_tooth', 'mil')
    """
    words = unicodedata.normalize("NFKC", heading).replace("μ", "µ").strip().lower()
    name = "_".join(re.findall(r"[^\W_]+", words))
    head, _, last = name.rpartition("_")
    return (head, last) if last in (*_PLACES, *_TEETH) and head else (name, "")


def _head(top: Sequence[str]) -> _Head:
    fields: dict[int, tuple[str, str, Read]] = {}
    own: dict[str, int] = {}
    units: set[str] = set()
    wrong = []
    for k, heading in enumerate(top):
        name, unit = _plain(heading)
        if name in _OWN and not unit:
            own[name] = k
        elif name in ("x", "y"):
            if not unit:
                wrong.append(f"{heading.strip()!r} does not say whether it is in m or ft.")
            elif unit in _PLACES:
                fields[k] = (heading.strip(), f"{name}_m", _PLACES[unit])
            else:
                wrong.append(f"{heading.strip()!r} is in {unit}; a place is in m or ft.")
        elif name in _HEADINGS and (not unit or name.endswith("_tooth")):
            if unit and unit not in _TEETH:
                wrong.append(f"{heading.strip()!r} is in {unit}; a tooth is in mil or µm.")
            elif unit:
                units.add(_TEETH[unit])
            fields[k] = (heading.strip(), *_HEADINGS[name])
        elif heading.strip():
            wrong.append(f"no field is called {heading.strip()!r}.")
    if len(units) > 1:
        wrong.append("wet and dry tooth are in two units.")
    return _Head(fields=fields, own=own, unit=next(iter(units), ""), wrong=tuple(wrong))


def _body(row: Sequence[str], columns: int, head: _Head) -> tuple[dict[str, Any], list[str]]:
    body: dict[str, Any] = {"unit": head.unit} if head.unit else {}
    wrong = []
    if len(row) > columns and any(c.strip() for c in row[columns:]):
        wrong.append("it has more cells than the head.")
    for k, (heading, field, read) in head.fields.items():
        cell = row[k].strip() if k < len(row) else ""
        if not cell:
            continue
        try:
            value = read(cell)
        except (ValueError, KeyError):
            wrong.append(f"{heading} cannot be read: {cell[:40]!r}.")
            continue
        if field == "unit":
            value = _TEETH.get(value.lower().replace("μ", "µ"), value)
            if head.unit and value != head.unit:
                wrong.append(f"its unit is {value}, its heading says {head.unit}.")
        body[field] = value
    return body, wrong


def _when(row: Sequence[str], head: _Head) -> str:
    cells = [row[head.own[n]].strip() for n in ("date", "time")
             if n in head.own and head.own[n] < len(row)]  # fmt: skip
    return " ".join(c for c in cells if c)


def _day_first(texts: Sequence[str]) -> bool | None:
    """Whether 20/04 or 04/20: by a day above 12 anywhere in the table; None where none tells."""
    pairs = [(int(m[1]), int(m[3])) for t in texts if (m := _DATE.fullmatch(t)) and m[2] != "."]
    day, month = any(a > 12 for a, _ in pairs), any(b > 12 for _, b in pairs)
    return day if day != month else None


def _moment(text: str, zone: ZoneInfo, day_first: bool | None) -> tuple[datetime | None, str]:
    found = _wall(text, day_first)
    if isinstance(found, str):
        return None, found
    if found.tzinfo is not None:
        return found.astimezone(zone), ""
    if gone := missing(found, zone):
        return None, gone
    if comes_twice(found, zone):
        return None, f"{text} comes twice when the clocks are put back; add its offset."
    return found.replace(tzinfo=zone), ""


def _wall(text: str, day_first: bool | None) -> datetime | str:
    """A moment as written, or what is wrong with it."""
    bad = f"time is not a date and time: {text[:40]!r}."
    part = _DATE.fullmatch(text)
    try:
        if part is None:
            return datetime.fromisoformat(text)
        first, second = int(part[1]), int(part[3])
        if part[2] != "." and day_first is None:
            return f"{text[:40]!r} can be read day first and month first."
        day, month = (first, second) if part[2] == "." or day_first else (second, first)
        hour = int(part[5])
        if part[8]:
            hour = hour % 12 + (12 if part[8].lower() == "pm" else 0)
        return datetime(int(part[4]), month, day, hour, int(part[6]), int(part[7] or 0))
    except ValueError:
        return bad
