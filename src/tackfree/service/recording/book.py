"""The record as pages read it again and again: only what is new is fetched and judged."""

from __future__ import annotations

import threading
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from tackfree.errors import ToolError
from tackfree.record.entries import Entry
from tackfree.service.pipeline import Pipeline
from tackfree.service.placed import KINDS, place_row, placed_lines
from tackfree.service.recording.desk import Desk
from tackfree.service.recording.live import Live, live

Json = Mapping[str, Any]


@dataclass(eq=False)
class Book:
    """Entries of one record as they count now, and the clocks that stand on them."""

    desk: Desk
    _turn: threading.Lock = field(default_factory=threading.Lock)
    _seen: list[Entry] = field(default_factory=list)
    _live: Live | None = None
    _made: tuple[Any, Pipeline] | None = None
    _work: threading.Thread | None = None
    _rows: tuple[Any, tuple[Json, ...]] = (None, ())

    def now(self) -> Live:
        """Every entry, judged by what later ones say of it."""
        with self._turn:
            found = self._live
            while page := self.desk.entries(after=self._seen[-1].pos if self._seen else 0):
                self._seen += page
                found = None
            if found is None:
                found = self._live = live(self._seen)
            return found

    def clock_rows(self, now: Live, *, patience_s: float) -> tuple[Json, ...] | None:
        """Clocks of what was placed; none where the job cannot be opened.

        The job's weather and slabs take seconds to work out once. Who asks waits for
        ``patience_s`` at most and gets None; the work goes on for the next who asks.
        """
        entries = tuple(e for e in now.every if e.kind in KINDS)
        if not entries:
            return ()
        files = sorted(self.desk.bundle.glob("*.toml"))
        mark = (tuple((p.name, p.stat().st_mtime_ns) for p in files), entries[-1].pos)
        with self._turn:
            if self._rows[0] == mark:
                return self._rows[1]
            work = self._work
            if work is None or not work.is_alive():
                work = threading.Thread(target=self._work_out, args=(mark, entries), daemon=True)
                self._work = work
                work.start()
        work.join(patience_s)
        return self._rows[1] if self._rows[0] == mark else None

    def _work_out(self, mark: tuple[Any, int], entries: tuple[Entry, ...]) -> None:
        try:
            if self._made is None or self._made[0] != mark[0]:
                self._made = (mark[0], Pipeline.of(self.desk.bundle))
            made = self._made[1]
            rows = tuple(place_row(made, one) for one in placed_lines(made, entries))
        except ToolError:  # the bundle was broken since: the record is shown all the same
            rows = ()
        self._rows = (mark, rows)
