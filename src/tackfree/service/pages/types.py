"""What the pages show: already rounded, unit beside number, in one language."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date

from tackfree.service.pages.said import Value

STAGES = ("job", "deck", "materials", "weather", "clocks", "plan", "shift")


@dataclass(frozen=True, kw_only=True)
class Asked:
    """What the reader asked for, checked against the job. None is not asked."""

    deck: str | None = None
    day: date | None = None
    shift: str | None = None
    surface: str | None = None


@dataclass(frozen=True, kw_only=True)
class Bar:
    """A range on a line of 1000: from ``low`` to ``high``, ticks at their places.

    Ticks are (place, kind): likely, worked-out, have, total. ``said`` reads it aloud.
    """

    low: int
    high: int
    ticks: tuple[tuple[int, str], ...]
    said: str

    @property
    def width(self) -> int:
        return self.high - self.low


@dataclass(frozen=True, kw_only=True)
class Line:
    """One ruled line: what it is about, and its figures."""

    label: str
    sub: str = ""
    values: tuple[Value, ...] = ()
    note: str = ""
    warning: str = ""
    section: str = ""  # the section the line can be followed to
    deck: str = ""  # its deck, where that is another than the one shown
    bar: Bar | None = None


@dataclass(frozen=True, kw_only=True)
class Entry:
    """A section, zone or product with its lines. ``id`` is its anchor."""

    id: str
    name: str
    sub: str = ""
    note: str = ""
    lines: tuple[Line, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Group:
    """Entries under one heading."""

    title: str
    note: str = ""
    entries: tuple[Entry, ...] = ()
    lines: tuple[Line, ...] = ()
    links: tuple[Link, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Link:
    """A file or another view."""

    text: str
    href: str
    sub: str = ""
    current: bool = False


@dataclass(frozen=True, kw_only=True)
class DayCell:
    """One day of the strip: its date, what it holds, and its hatch."""

    iso: str
    weekday: str
    day: str
    said: str  # "3 steps, 84 stalls closed"
    count: str
    state: str  # working, closed, open
    current: bool
    month: str = ""  # on the first day shown of a month


@dataclass(frozen=True, kw_only=True)
class HourRow:
    time: str
    surface: str
    air: str
    dew: str
    spread: str


@dataclass(frozen=True, kw_only=True)
class Chart:
    """Surface, air and dew point over one day of the job's clock."""

    title: str
    svg: str
    rows: tuple[HourRow, ...]
    surfaces: tuple[Link, ...]


@dataclass(frozen=True, kw_only=True)
class Page:
    """One page of the site, whole."""

    stage: str
    title: str
    job_id: str
    job_name: str
    invented: bool
    lead: tuple[Value, ...]
    decks: tuple[Link, ...]
    deck_id: str
    svg: str
    key: tuple[tuple[str, str], ...]  # state, its word
    days: tuple[DayCell, ...]
    before: str
    after: str
    day_said: str
    chart: Chart | None
    groups: tuple[Group, ...]
    missing: tuple[str, ...]
    remedy: str
    cautions: tuple[str, ...]
    age: tuple[str, ...]
    notes: tuple[str, ...] = field(default=())
