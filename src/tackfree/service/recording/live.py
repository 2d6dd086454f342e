"""Entries as they count now: withdrawn and replaced ones left out, clocks set right."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import cached_property
from typing import Any

from tackfree.record.entries import Entry

AHEAD_S = 120.0  # a phone's clock may be off by so much before it is said


@dataclass(frozen=True, kw_only=True)
class Live:
    """Every entry of a job, and which of them count.

    ``ahead_s`` tells by device how far its clock ran ahead: an entry cannot have been
    written after it came. A clock that runs behind cannot be told from a phone that was
    long without signal, and is left.
    """

    every: tuple[Entry, ...]
    gone: frozenset[str]
    ahead_s: Mapping[str, float]

    @cached_property
    def counted(self) -> tuple[Entry, ...]:
        """Entries that nothing later took back, in the order of their time."""
        kept = [e for e in self.every if e.id not in self.gone and e.kind != "correction"]
        return tuple(sorted(kept, key=lambda e: (self.moment(e), e.pos)))

    def of(self, *kinds: str) -> tuple[Entry, ...]:
        """Entries of some kinds that count."""
        return tuple(e for e in self.counted if e.kind in kinds)

    def moment(self, e: Entry) -> datetime:
        """When an entry was written, by a clock set right."""
        wall = datetime.fromisoformat(e.wall)
        return wall - timedelta(seconds=self.ahead_s.get(e.device, 0.0))


def live(every: Iterable[Entry]) -> Live:
    """Judge entries by what later ones say of them."""
    found = tuple(every)
    by_id = {e.id: e for e in found}
    gone = {
        e.body["corrects"]
        for e in found
        if e.body.get("corrects") in by_id and by_id[e.body["corrects"]].pos < e.pos
    }
    ahead: dict[str, float] = {}
    for e in found:
        late = (datetime.fromisoformat(e.wall) - received(e)).total_seconds()
        if late > AHEAD_S:
            ahead[e.device] = max(late, ahead.get(e.device, 0.0))
    return Live(every=found, gone=frozenset(gone), ahead_s=ahead)


def received(e: Entry) -> datetime:
    """When an entry came."""
    return datetime.fromisoformat(e.received.replace("Z", "+00:00")).astimezone(UTC)


@dataclass(frozen=True, kw_only=True)
class Check:
    """The last check of an instrument before a moment. ``state`` is a word of ``daily``."""

    instrument: str
    state: str  # checked, overdue, failed, unchecked
    on: str = ""
    due: str = ""


def check_of(checks: Sequence[Entry], instrument: str, at: datetime, now: Live) -> Check:
    """What is known of an instrument at a moment."""
    mine = [e for e in checks if e.body["instrument"] == instrument and now.moment(e) <= at]
    if not mine:
        return Check(instrument=instrument, state="unchecked")
    last = mine[-1]
    due = str(last.body.get("due") or "")
    state = "checked" if last.body["passed"] else "failed"
    if state == "checked" and due and due < f"{at:%Y-%m-%d}":
        state = "overdue"
    return Check(instrument=instrument, state=state, on=f"{now.moment(last):%Y-%m-%d}", due=due)


def span(now: Live, section: str, coat: str) -> tuple[datetime, datetime] | None:
    """First and last moment at which a coat went onto a section, as logged."""
    moments: list[datetime] = []
    for e in now.of("batch", "placement"):
        body: Mapping[str, Any] = e.body
        if (body["section"], body["coat"]) == (section, coat):
            said = [body.get(k) for k in ("started", "stopped", "mixed_to")]
            ahead = timedelta(seconds=now.ahead_s.get(e.device, 0.0))
            moments += [datetime.fromisoformat(t) - ahead for t in said if t] or [now.moment(e)]
    return (min(moments), max(moments)) if moments else None
