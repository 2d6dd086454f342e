"""The page of film evidence: the record as it is now, one deck and coat at a time.

A study takes part of a second, so each is kept until its own entries change.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from tackfree.errors import InputError, NotFound
from tackfree.evidence.verdict import State
from tackfree.record.entries import Entry
from tackfree.service.acceptance import record_of_tests
from tackfree.service.consumption import (
    ToFinish,
    consumption_record,
    days_built,
    to_finish,
)
from tackfree.service.earlier_jobs import (
    EarlierJob,
    bundles_of,
    history_of,
    read_earlier,
    told,
)
from tackfree.service.evidence import Study, study
from tackfree.service.evidence_words import MARKS
from tackfree.service.film_entries import FilmEntries, places
from tackfree.service.film_figure import figure_pdf
from tackfree.service.film_readings_page import ReadingsPage, readings_page
from tackfree.service.film_tests import TestsView, told_of
from tackfree.service.film_tests_page import TestsPage, page_of_tests
from tackfree.service.film_view import (
    FilmView,
    head_of,
    moment_of,
    moment_said,
    view_of,
    word_of,
    zone_lines,
)
from tackfree.service.kept import KeptPipeline
from tackfree.service.kit_fans import FanView, forecast_pdf, views_of
from tackfree.service.pipeline import Pipeline
from tackfree.sheets.evidence_map import KEYS
from tackfree.sheets.film_deck import DeckPart, film_deck_svg, key_svg, section_page_svg
from tackfree.units import System
from tackfree.words import say

Key = tuple[str, str]
MOST_DRAWN = 32  # drawings kept in memory


@dataclass(frozen=True, kw_only=True)
class Tab:
    """A deck, coat or section that can be chosen."""

    text: str
    current: bool


@dataclass(frozen=True, kw_only=True)
class Row:
    """A section of the deck in the list: its word and the line of the whole section."""

    section: str
    word: str
    state: str
    said: str
    band: Any  # PatchLine of the whole, or None


@dataclass(frozen=True, kw_only=True)
class FilmPage:
    """Everything the template places."""

    deck: str
    coat: str
    section: str
    decks: tuple[Tab, ...]
    coats: tuple[Tab, ...]
    svg: str
    title: str
    as_of: str
    head: str
    zones: tuple[tuple[str, str], ...]
    rows: tuple[Row, ...]
    view: FilmView | None
    tests: TestsView | None
    key: tuple[tuple[str, str], ...]
    marks: tuple[str, ...]
    empty: bool
    invented: bool
    bundle: str


@dataclass(frozen=True, kw_only=True)
class KitsPage:
    """Kits to finish of every product, on one day."""

    views: tuple[FanView, ...]
    notes: tuple[str, ...]
    earlier: tuple[str, ...]  # the crew's own jobs, in words
    as_of: str
    today: date
    invented: bool


@dataclass
class FilmBook:
    """The film of one bundle, as its pages ask for it."""

    bundle: Path | None
    kept: Callable[[], KeptPipeline]  # shared with the other rooms of a site
    _made: Pipeline | None = None
    _entries: FilmEntries | None = None
    _drawn: dict[object, str] = field(default_factory=dict)
    _kept: dict[Key, tuple[object, Study]] = field(default_factory=dict)
    _jobs: tuple[object, tuple[EarlierJob, ...]] | None = None
    _finish: tuple[object, tuple[ToFinish, ...]] | None = None
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def made(self) -> Pipeline:
        """The job of the bundle, read again when one of its documents changes.

        Raises
        ------
        NotFound
            If the site shows an output folder alone.
        """
        kept = self.kept()
        with kept.lock:
            made = kept.pipeline()
            made.materials  # noqa: B018  # worked out while no other room does
        if made is not self._made:
            self._kept.clear()
            self._drawn.clear()
            self._finish = None
            self._made = made
        return made

    def record(self) -> tuple[Entry, ...]:
        """Entries that speak of film; none of a bundle that keeps no record."""
        assert self.bundle is not None
        if self._entries is None:
            self._entries = FilmEntries(self.bundle)
        try:
            return self._entries.read()
        except InputError:  # a zip without a database
            return ()

    def study(self, record: Sequence[Entry], key: Key) -> Study:
        """The study of one section and coat, kept until its entries change."""
        mark = tuple(
            e.pos
            for e in record
            if e.kind == "correction" or (e.body["section"], e.body["coat"]) == key
        )
        kept = self._kept.get(key)
        if kept is None or kept[0] != mark:
            kept = (mark, study(self.made(), record, *key))
            self._kept[key] = kept
        return kept[1]

    def page(
        self,
        *,
        system: System,
        language: str,
        now: datetime,
        deck: str | None = None,
        coat: str | None = None,
        section: str | None = None,
    ) -> FilmPage:
        """The page of a deck and coat, or of one section.

        Raises
        ------
        NotFound
            If the job has no such deck, coat or section.
        """
        with self._lock:
            return self._page(system, language, now, deck, coat, section)

    def figure(
        self, section: str, coat: str, *, system: System, language: str, now: datetime
    ) -> bytes:
        """The closeout's figure of one section and coat as PDF."""
        with self._lock:
            made, record = self.made(), self.record()
            at, _ = moment_of(record, ZoneInfo(made.job.place.time_zone), now)
            view = view_of(made, record, self.study(record, (section, coat)), system, language, at)
            tests = self._tests(made, section, system, language)
            last = record[-1].pos if record else 0
            return figure_pdf(made, view, system, language, last, tests)

    def readings(
        self, section: str | None, coat: str | None, *, system: System, language: str
    ) -> ReadingsPage:
        """How many readings a section would need, before any is taken or beside those taken."""
        with self._lock:
            return readings_page(
                self.made(), self.record(), section, coat, system=system, language=language
            )

    def tests(self, deck: str | None, *, system: System, language: str) -> TestsPage:
        """Bond, moisture, flood and slip of a deck, and where to test next."""
        with self._lock:
            made = self.made()
            return page_of_tests(made, self._tests_record(), deck, system=system, language=language)

    def _tests_record(self) -> tuple[Entry, ...]:
        assert self.bundle is not None
        try:
            return record_of_tests(self.bundle)
        except InputError:  # a zip without a database
            return ()

    def kits(self, *, language: str, now: datetime, out: Path | None = None) -> KitsPage:
        """What is still to open of each product, learnt from the record as it is now.

        ``out`` is the output folder whose plan tells the days.
        """
        with self._lock:
            made, record = self.made(), self.record()
            at, live = moment_of(record, ZoneInfo(made.job.place.time_zone), now)
            days = {} if out is None else days_built(out, ZoneInfo(made.job.place.time_zone))
            jobs = self._earlier()
            views, notes = self._fans(made, at.date(), language, days, jobs)
            form = "as_of" if live else "as_of_last"
            return KitsPage(
                views=views, notes=notes, today=at.date(), invented=made.job.invented,
                earlier=told(jobs, made.job.root, language),
                as_of=say(f"film.{form}", language, moment=moment_said(at, language)),
            )  # fmt: skip

    def _earlier(self) -> tuple[EarlierJob, ...]:
        """The crew's earlier jobs, read again when their folder or one of them changes."""
        assert self.bundle is not None
        paths = bundles_of(self.bundle)
        if self._jobs is None or self._jobs[0] != _mark(paths):
            jobs = read_earlier(paths)  # opening a record may touch its file
            self._jobs = (_mark(paths), jobs)
        return self._jobs[1]

    def _fans(
        self,
        made: Pipeline,
        today: date,
        language: str,
        days: Mapping[Key, date],
        jobs: tuple[EarlierJob, ...],
    ) -> tuple[tuple[FanView, ...], tuple[str, ...]]:
        assert self.bundle is not None
        try:
            record = consumption_record(self.bundle)
        except InputError:  # a zip without a database
            record = ()
        mark = (record[-1].pos if record else 0, today, days, jobs)
        if self._finish is None or self._finish[0] != mark:
            found = to_finish(made, record, today=today, days=days, history=history_of(jobs))
            self._finish = (mark, found)
        return views_of(made, self._finish[1], today=today, language=language)

    def kits_pdf(self, page: KitsPage, language: str) -> bytes:
        """The same on paper."""
        return forecast_pdf(
            self.made(), page.views, page.notes, today=page.today, language=language
        )

    def _page(
        self,
        system: System,
        language: str,
        now: datetime,
        deck: str | None,
        coat: str | None,
        section: str | None,
    ) -> FilmPage:
        made, record = self.made(), self.record()
        at, live = moment_of(record, ZoneInfo(made.job.place.time_zone), now)
        there = places(record)
        every = {s.id: s for s in made.sections.sections}
        if section is not None:
            if section not in every:
                raise NotFound(f"there is no section {section}.", where="section",
                               do=f"The job's sections are {', '.join(every)}.")  # fmt: skip
            deck = every[section].deck_id
        decks = list(dict.fromkeys(s.deck_id for s in every.values()))
        if deck is None:
            told = (every[s].deck_id for s, _ in there if s in every)
            deck = next(told, decks[0])
        elif deck not in decks:
            raise NotFound(f"there is no deck {deck}.", where="deck",
                           do=f"The job's decks are {', '.join(decks)}.")  # fmt: skip
        mine = [s for s in every.values() if s.deck_id == deck]
        pairs = [(s, c) for s, c in there if s in every and every[s].deck_id == deck]
        coats = _coats(made, mine, pairs, section)
        if coat is not None and coat not in coats:
            raise NotFound(f"nothing of a coat {coat} is logged there.", where="coat",
                           do=f"Logged are {', '.join(coats) or 'none'}.")  # fmt: skip
        coat = coat or next(iter(coats), "")
        found = {
            s: view_of(made, record, self.study(record, (s, c)), system, language, at)
            for s, c in pairs
            if c == coat and (section is None or s == section)
        }
        view = found.get(section) if section else None
        form = "as_of" if live else "as_of_last"
        rows = zone_lines(made, list(found.values()), language)
        return FilmPage(
            deck=deck,
            coat=coat,
            section=section or "",
            decks=tuple(Tab(text=d, current=d == deck) for d in decks),
            coats=tuple(Tab(text=c, current=c == coat) for c in coats),
            svg=self._svg(mine, found, view, deck, coat, system, language),
            title=say("film.title", language),
            as_of=say(f"film.{form}", language, moment=moment_said(at, language)),
            head=head_of((state for _, state in rows), language),
            zones=tuple((said, state.value if state else "nothing") for said, state in rows),
            rows=tuple(_row(s.id, found.get(s.id), language) for s in mine),
            view=view,
            tests=self._tests(made, section, system, language),
            key=tuple((key_svg(k), say(f"evidence.map_{k}", language)) for k in KEYS),
            marks=tuple(say(f"evidence.map_{k}", language) for k in MARKS),
            empty=not pairs,
            invented=made.job.invented,
            bundle=str(self.bundle),
        )

    def _tests(
        self, made: Pipeline, section: str | None, system: System, language: str
    ) -> TestsView | None:
        """The other tests of one section, where any is asked for or was made."""
        if section is None:
            return None
        return told_of(made, self._tests_record(), section, system, language)

    def _svg(
        self, mine: Sequence[Any], found: Mapping[str, FilmView], view: FilmView | None,
        deck: str, coat: str, system: System, language: str,
    ) -> str:  # fmt: skip
        """The drawing, kept until a study of it or the spots still wet change."""
        shown = tuple((s, self._kept[s, coat][0], v.spots) for s, v in found.items())
        key = (deck, coat, system, language, view and view.section, shown)
        if key not in self._drawn:
            if len(self._drawn) >= MOST_DRAWN:
                self._drawn.clear()
            self._drawn[key] = self._draw(mine, found, view, deck, coat, language)
        return self._drawn[key]

    def _draw(
        self, mine: Sequence[Any], found: Mapping[str, FilmView], view: FilmView | None,
        deck: str, coat: str, language: str,
    ) -> str:  # fmt: skip
        title = f"{say('film.title', language)} {deck} {coat}"
        if view is not None and view.picture is not None:
            return section_page_svg(view.picture, title=title)
        return film_deck_svg(
            [
                DeckPart(
                    id=s.id,
                    short=s.id.removeprefix(f"{deck}-"),
                    floor=s.floor,
                    word=found[s.id].word if s.id in found else "",
                    href=f"/film?section={s.id}&coat={coat}" if s.id in found else f"#s-{s.id}",
                    picture=found[s.id].picture if s.id in found else None,
                )
                for s in mine
            ],
            title=title,
        )


def _mark(bundles: Sequence[Path]) -> tuple[tuple[str, int, int], ...]:
    """Names, times and sizes of bundles, their documents and records."""
    every = [p for b in bundles for p in (b, *b.glob("*.toml"), b / ".tackfree" / "job.sqlite")]
    stats = [(str(p), p.stat()) for p in sorted(every) if p.is_file()]
    return tuple((name, s.st_mtime_ns, s.st_size) for name, s in stats)


def _coats(
    made: Pipeline, mine: Sequence[Any], pairs: Sequence[Key], section: str | None
) -> list[str]:
    """Coats that anything is logged of, the one with the most sections first; primers last."""
    order: list[str] = []
    for s in mine:
        order += [c.id for c in made.job.build_ups[s.build_up_id].coats if c.id not in order]
    primers = {
        c.id
        for s in mine
        for c in made.job.build_ups[s.build_up_id].coats
        if c.role.value == "primer"
    }
    logged = {c for s, c in pairs if section in (None, s)}
    return sorted((c for c in order if c in logged), key=lambda c: (c in primers, order.index(c)))


def _row(section: str, view: FilmView | None, language: str) -> Row:
    if view is None:
        return Row(section=section, word=word_of(None, language), state="nothing", said="",
                   band=None)  # fmt: skip
    whole = view.patches[-1] if view.patches else None
    worst = whole
    if view.state is State.SHORT:
        worst = next(p for p in view.patches if p.state is State.SHORT)
    return Row(
        section=section,
        word=view.word,
        state=view.state.value if view.state else "nothing",
        said=" ".join((worst.said, *worst.why)) if worst else "",
        band=whole,
    )
