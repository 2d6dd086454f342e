"""Loggers and spreadsheets: any table of times and values, with a mapping.

What the head of the file tells is guessed; what it does not tell is asked for.
Nothing is converted on a hunch: two units in one column, or a date that can be
read both ways, is refused with its row.
"""

from __future__ import annotations

import csv
import re
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass, field, fields
from datetime import UTC, datetime, timedelta, timezone
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import numpy as np
from numpy.typing import NDArray

from tackfree.climate.types import WeatherSeries
from tackfree.errors import InputError
from tackfree.intake.weather.clean import Station
from tackfree.intake.weather.samples import Samples, hourly
from tackfree.words import Message

FloatArray = NDArray[np.float64]

MARKERS = ("", "m", "nan", "---", "--", "-", "err", "error", "n/a", "na", "null", "none")
SENTINELS = (-999.0, -9999.0, -9900.0, -99.0, 9999.0, 99.9, 999.9)
SWITCH_JUMP, SWITCH_NEAR, SWITCH_CALM = 20.0, 3.0, 5.0

# unit as written -> (factor, offset) to SI
UNITS = {
    "C": (1.0, 0.0), "F": (1 / 1.8, -32 / 1.8), "%": (0.01, 0.0), "fraction": (1.0, 0.0),
    "m/s": (1.0, 0.0), "km/h": (1 / 3.6, 0.0), "mph": (0.44704, 0.0), "kt": (1852 / 3600, 0.0),
    "W/m2": (1.0, 0.0), "mm": (1.0, 0.0), "in": (25.4, 0.0),
    "Pa": (1.0, 0.0), "hPa": (100.0, 0.0), "inHg": (3386.389, 0.0),
}  # fmt: skip
_HEADS = (
    ("dew_c", r"dew|taupunkt|rugiada|punto de roc|^td\b"),
    ("surface_c", r"surface|slab|deck|oberfl|losa|suolo"),
    ("rh", r"\brh\b|humid|\brf\b|feuchte|umid|humedad"),
    ("wind_m_s", r"wind(?!.*dir)|vento|viento"),
    ("ghi_w_m2", r"solar|ghi|radiation|global|sun"),
    ("rain_mm", r"rain|precip|niederschlag|lluvia|pioggia"),
    ("pressure_pa", r"press|druck|baro"),
    ("air_c", r"temp|^t\b|\bair\b|lufttemp"),
)
_UNIT_IN_HEAD = (
    (r"°\s*f|\bdegf\b|\(f\)|\bf$|fahrenheit", "F"), (r"°\s*c|\bdegc\b|\(c\)|\bc$|celsius", "C"),
    (r"%", "%"), (r"km/h|kmh|kph", "km/h"), (r"mph", "mph"), (r"m/s", "m/s"),
    (r"\bkn\b|knots|\bkt\b", "kt"), (r"w/m", "W/m2"), (r"\bmm\b", "mm"),
    (r"\binch|\bin\b", "in"), (r"hpa|mbar", "hPa"), (r"inhg", "inHg"),
)  # fmt: skip
_TIME_HEAD = re.compile(r"time|date|datum|zeit|fecha|hora|valid|^t_utc", re.I)
_OFFSET = re.compile(r"utc\s*([+-]\d{1,2})(?::?(\d{2}))?\b", re.I)


@dataclass(frozen=True, kw_only=True)
class Mapping:
    """What a table's columns are, where its own head does not say.

    ``columns`` gives our column by the file's heading, ``units`` the unit by our
    column. ``zone`` is UTC, an offset (+02:00) or an IANA name.
    """

    columns: dict[str, str] = field(default_factory=dict)
    units: dict[str, str] = field(default_factory=dict)
    time: str = ""
    zone: str = ""
    delimiter: str = ""
    decimal: str = ""
    day_first: bool | None = None
    latitude_deg: float | None = None
    longitude_deg: float | None = None

    @classmethod
    def read(cls, text: str, where: str) -> Mapping:
        """A mapping from TOML.

        Raises
        ------
        InputError
            If a key is not known, or the text is no TOML.
        """
        try:
            given = tomllib.loads(text)
        except tomllib.TOMLDecodeError as fault:
            raise InputError(f"no TOML ({fault}).", where=where, do="Correct it.") from fault
        known = [f.name for f in fields(cls)]
        unknown = sorted(set(given) - set(known))
        if unknown:
            raise InputError(
                f"{', '.join(unknown)} is not known here.", where=where,
                do=f"Known are {', '.join(known)}.",
            )  # fmt: skip
        return cls(**given)


def parse_logger(text: str, name: str, mapping: Mapping | None = None) -> WeatherSeries:
    """A table of readings as a series."""
    samples, messages, _ = readings(text, mapping or Mapping())
    if "air_c" not in samples.columns:
        raise InputError(
            "no column is known as the air temperature.",
            do='Name it: columns = { air_c = "Temp" } in the mapping.',
        )
    weather = {n: c for n, c in samples.columns.items() if n != "surface_c"}
    at = mapping or Mapping()
    nowhere = float("nan")
    return hourly(
        Samples(utc_s=samples.utc_s, columns=weather),
        origin=f"{name}: readings",
        station=Station(
            name="",
            latitude_deg=nowhere if at.latitude_deg is None else at.latitude_deg,
            longitude_deg=nowhere if at.longitude_deg is None else at.longitude_deg,
            utc_offset_s=0,
        ),
        already=messages,
    )


def readings(text: str, mapping: Mapping) -> tuple[Samples, list[Message], list[int]]:
    """Readings in SI and UTC, what was said of them, and the file row of each.

    Raises
    ------
    InputError
        With the row and what to give, where the table cannot be read in one way.
    """
    lines = text.lstrip("\ufeff").lstrip("ï»¿").splitlines()
    start = next((i for i, x in enumerate(lines) if x.strip() and not x.startswith("#")), None)
    if start is None:
        raise InputError("the file is empty.", do="Give a file with a head and rows.")
    mark = mapping.delimiter or _delimiter(lines[start])
    table = list(csv.reader(lines[start:], delimiter=mark))
    head = [h.strip() for h in table[0]]
    rows = [(start + 2 + i, r) for i, r in enumerate(table[1:]) if any(v.strip() for v in r)]
    decimal = mapping.decimal or _decimal(mark, [r for _, r in rows])
    clock = _time_column(head, mapping)
    found = _columns(head, clock, mapping)
    if not found:
        raise InputError(
            f"no column of {', '.join(head)} is known.", do="Name them in the mapping."
        )
    messages: list[Message] = []
    stamps = _moments([r[clock] if clock < len(r) else "" for _, r in rows], head[clock],
                      mapping, [n for n, _ in rows], messages)  # fmt: skip
    columns: dict[str, FloatArray] = {}
    marked = 0
    for column, at in found.items():
        raw = [_value(r[at] if at < len(r) else "", decimal) for _, r in rows]
        marked += sum(1 for v in raw if not np.isfinite(v))
        values = np.array(raw)
        unit = mapping.units.get(column) or _unit(head[at], column, values)
        if unit not in UNITS:
            raise InputError(
                f"{column} is in {unit!r}, which is not known.",
                do=f"Known units are {', '.join(UNITS)}.",
            )
        if unit in ("F", "C"):
            _one_unit(values, [n for n, _ in rows], head[at])
        factor, offset = UNITS[unit]
        columns[column] = values * factor + offset
    if marked:
        messages.append(Message(id="weather.marked", values={"count": marked}))
    return Samples(utc_s=stamps, columns=columns), messages, [n for n, _ in rows]


def _delimiter(head: str) -> str:
    counts = {mark: head.count(mark) for mark in (";", "\t", ",")}
    return max(counts, key=lambda m: counts[m])


def _decimal(mark: str, rows: Sequence[Sequence[str]]) -> str:
    if mark == ",":
        return "."
    commas = any(re.fullmatch(r"\s*-?\d+,\d+\s*", v) for r in rows[:200] for v in r)
    return "," if commas else "."


def _time_column(head: Sequence[str], mapping: Mapping) -> int:
    if mapping.time:
        if mapping.time not in head:
            raise InputError(
                f"there is no column {mapping.time!r}.", do=f"The head has {', '.join(head)}."
            )
        return head.index(mapping.time)
    return next((i for i, h in enumerate(head) if _TIME_HEAD.search(h)), 0)


def _columns(head: Sequence[str], clock: int, mapping: Mapping) -> dict[str, int]:
    lacking = [h for h in mapping.columns.values() if h not in head]
    if lacking:
        raise InputError(
            f"there is no column {', '.join(map(repr, lacking))}.",
            do=f"The head has {', '.join(head)}.",
        )
    known = {c for c, _ in _HEADS}
    strange = [c for c in mapping.columns if c not in known]
    if strange:
        raise InputError(
            f"{', '.join(strange)} is not a column known here.",
            do=f"Known are {', '.join(sorted(known))}.",
        )
    found = {c: head.index(h) for c, h in mapping.columns.items()}
    for i, h in enumerate(head):
        if i == clock or i in found.values():
            continue
        column = next((c for c, pattern in _HEADS if re.search(pattern, h, re.I)), None)
        if column and column not in found:
            found[column] = i
    return found


def _unit(heading: str, column: str, values: FloatArray) -> str:
    """The unit of a column from its heading; temperature and wind are never guessed."""
    if column == "rh":
        return "fraction" if np.nanmax(values, initial=0) <= 1.0 else "%"
    for pattern, unit in _UNIT_IN_HEAD:
        if re.search(pattern, heading.strip(), re.I) and _fits(unit, column):
            return unit
    plain = {"ghi_w_m2": "W/m2", "air_c": "C", "dew_c": "C", "surface_c": "C"}
    if column in plain and (column == "ghi_w_m2" or np.nanmax(values, initial=-1e9) <= 50):
        return plain[column]
    raise InputError(
        f"the column {heading!r} does not say its unit.",
        do=f'Give it: units = {{ {column} = "F" }} in the mapping.',
    )


def _fits(unit: str, column: str) -> bool:
    kinds = {
        "air_c": "CF", "dew_c": "CF", "surface_c": "CF", "wind_m_s": "m/s km/h mph kt",
        "rain_mm": "mm in", "pressure_pa": "Pa hPa inHg", "ghi_w_m2": "W/m2",
    }  # fmt: skip
    allowed = kinds[column]
    return unit in allowed if column.endswith("_c") else unit in allowed.split()


def _value(text: str, decimal: str) -> float:
    spelled = text.strip().strip('"')
    if spelled.lower() in MARKERS:
        return np.nan
    if decimal == ",":
        spelled = spelled.replace(",", ".")
    try:
        value = float(spelled)
    except ValueError:
        return np.nan
    return np.nan if value in SENTINELS or not np.isfinite(value) else value


def _one_unit(values: FloatArray, rows: Sequence[int], heading: str) -> None:
    """Refuse a column of temperatures that changes its unit on the way."""
    known = np.flatnonzero(np.isfinite(values))
    v = values[known]
    if len(v) < 3:
        return
    step = np.abs(np.diff(v))
    if np.median(step) >= SWITCH_CALM:
        return
    before, after = v[:-1], v[1:]
    to_c = np.abs((before - 32) / 1.8 - after) <= SWITCH_NEAR
    to_f = np.abs(before * 1.8 + 32 - after) <= SWITCH_NEAR * 1.8
    at = np.flatnonzero((step > SWITCH_JUMP) & (to_c | to_f))
    if at.size:
        i = int(at[0])
        raise InputError(
            f"row {rows[int(known[i + 1])]}, {heading}: {before[i]:g} is followed by "
            f"{after[i]:g}; the unit looks switched between °F and °C.",
            do="Split the file there, or export it again in one unit.",
        )


def _moments(
    texts: Sequence[str],
    heading: str,
    mapping: Mapping,
    rows: Sequence[int],
    messages: list[Message],
) -> NDArray[np.int64]:
    day_first = _day_first(texts, mapping)
    naive: list[datetime] = []
    for row, text in zip(rows, texts, strict=True):
        moment = _wall(text, day_first)
        if moment is None:
            raise InputError(
                f"row {row}: {text!r} is no time.",
                do="Name the time column in the mapping, or correct the row.",
            )
        naive.append(moment)
    if naive and all(n.tzinfo is not None for n in naive):
        return np.array([int(n.timestamp()) for n in naive], dtype=np.int64)
    said = mapping.zone or _zone_in(heading)
    if not said:
        raise InputError(
            "the file does not say the time zone of its clock.",
            do='Give it: zone = "America/New_York", "+02:00" or "UTC" in the mapping.',
        )
    return _on_clock(naive, said, messages)


def _zone_in(heading: str) -> str:
    found = _OFFSET.search(heading)
    if found:
        return f"{int(found[1]):+03d}:{found[2] or '00'}"
    return "UTC" if re.search(r"\butc\b|gmt", heading, re.I) else ""


def _on_clock(naive: Sequence[datetime], said: str, messages: list[Message]) -> NDArray[np.int64]:
    """Wall times as UTC: repeated hours by their order, a skipped one proves a fixed clock."""
    fixed = re.fullmatch(r"([+-])(\d{1,2}):?(\d{2})", said)
    if said.upper() == "UTC" or fixed:
        offset = timedelta(0)
        if fixed:
            offset = timedelta(hours=int(fixed[2]), minutes=int(fixed[3]))
            offset = -offset if fixed[1] == "-" else offset
        zone = timezone(offset)
        return np.array([int(n.replace(tzinfo=zone).timestamp()) for n in naive], dtype=np.int64)
    try:
        place = ZoneInfo(said)
    except (ZoneInfoNotFoundError, ValueError):
        raise InputError(
            f"{said!r} is no time zone.", do="Write America/New_York, +02:00 or UTC."
        ) from None
    skipped = next((n for n in naive if _back(n, place) != n), None)
    if skipped is not None:
        standard = min(
            (place.utcoffset(datetime(skipped.year, m, 1)) or timedelta(0) for m in (1, 7)),
        )
        values = {"time": f"{skipped:%Y-%m-%d %H:%M}", "hours": standard.total_seconds() / 3600}
        messages.append(Message(id="weather.fixed_clock", values=values))
        fix = timezone(standard)
        return np.array([int(n.replace(tzinfo=fix).timestamp()) for n in naive], dtype=np.int64)
    out: list[int] = []
    wall: datetime | None = None
    for n in naive:
        moment = int(n.replace(tzinfo=place).timestamp())
        later = int(n.replace(tzinfo=place, fold=1).timestamp())
        if later > moment and out and moment <= out[-1] and n != wall:
            moment = later  # the clocks went back: this hour comes a second time
        elif later > moment and out and n == wall:
            moment = out[-1]
        out.append(moment)
        wall = n
    return np.array(out, dtype=np.int64)


def _back(n: datetime, place: ZoneInfo) -> datetime:
    return n.replace(tzinfo=place).astimezone(UTC).astimezone(place).replace(tzinfo=None, fold=0)


_PARTS = re.compile(
    r"\s*(\d{1,4})([./-])(\d{1,2})\2(\d{2,4})[ T]+(\d{1,2}):(\d{2})(?::(\d{2})(?:\.\d+)?)?"
    r"\s*([AaPp][Mm])?\s*$"
)


def _day_first(texts: Sequence[str], mapping: Mapping) -> bool | None:
    """Whether 03/04 is 3 April; None where no date needs to know."""
    if mapping.day_first is not None:
        return mapping.day_first
    pairs = [
        (int(m[1]), int(m[3])) for t in texts if (m := _PARTS.match(t)) and m[2] in "/-"
        and len(m[1]) <= 2
    ]  # fmt: skip
    if not pairs:
        return None
    day_first = any(a > 12 for a, _ in pairs)
    month_first = any(b > 12 for _, b in pairs)
    if day_first == month_first:
        raise InputError(
            "the dates can be read day first and month first."
            if not day_first
            else "some dates are day first and some month first.",
            do="Say which: day_first = true or false in the mapping.",
        )
    return day_first


def _wall(text: str, day_first: bool | None) -> datetime | None:
    found = _PARTS.match(text)
    try:
        if found is None or len(found[1]) == 4:
            return datetime.fromisoformat(text.strip().replace("Z", "+00:00"))
        a, b, year = int(found[1]), int(found[3]), int(found[4])
        day, month = (a, b) if found[2] == "." or day_first else (b, a)
        hour = int(found[5])
        if found[8]:
            hour = hour % 12 + (12 if found[8].lower() == "pm" else 0)
        year = year + 2000 if year < 100 else year
        return datetime(year, month, day, hour, int(found[6]), int(found[7] or 0))
    except ValueError:
        return None
