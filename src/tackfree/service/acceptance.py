"""Bond, moisture, flood and slip of each section, from the record, by the specification.

What the specification does not ask for is not judged, and said so. Results taken back
by a correction are left out; the others all count.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import TypeVar

from tackfree.bundle.types import SpecTests
from tackfree.deck.types import Exposure, Section
from tackfree.errors import NotFound
from tackfree.evidence.acceptance import (
    Flooded,
    MoreTests,
    TestRule,
    TestVerdict,
    judge_flood,
    judge_tests,
    more_tests,
)
from tackfree.evidence.bond import BondVerdict, Pull, judge_bond
from tackfree.record.bodies.base import Body
from tackfree.record.bodies.testing import FloodV1, MoistureV1, PullOffV1, SlipV1
from tackfree.record.entries import Entry, entries
from tackfree.record.kinds import read_body
from tackfree.record.store import open_record
from tackfree.service.film_entries import PAGE
from tackfree.service.pipeline import Pipeline
from tackfree.service.record import where_of
from tackfree.words import Message

KINDS = ("pull-off", "moisture", "flood", "slip", "correction")
B = TypeVar("B", bound=Body)


@dataclass(frozen=True, kw_only=True)
class SectionTests:
    """Tests of one section against the specification; None where it asks for none.

    ``more`` says where further pulls would bound a weak place. ``holds`` is False if any
    test fails, None if any is missing, True if all that is asked for holds.
    """

    section_id: str
    bond: BondVerdict | None
    more: MoreTests | None
    tests: tuple[TestVerdict, ...]
    messages: tuple[Message, ...]

    @property
    def holds(self) -> bool | None:
        every = [t.holds for t in self.tests]
        if self.bond is not None:
            every.append(self.bond.holds)
        if False in every:
            return False
        return None if None in every or not every else True


def record_of_tests(bundle: Path) -> tuple[Entry, ...]:
    """Every entry of a test, in the order of arrival."""
    where = where_of(bundle)
    if isinstance(where, Path) and not where.exists():
        return ()
    out: list[Entry] = []
    with open_record(where) as record:
        after = 0
        while page := entries(record, after=after, limit=PAGE):
            after = page[-1].pos
            out += [e for e in page if e.kind in KINDS]
    return tuple(out)


def judge_sections(
    made: Pipeline, record: Sequence[Entry], section_id: str | None = None
) -> tuple[SectionTests, ...]:
    """Tests of one section, or of all in their order.

    Raises
    ------
    NotFound
        If there is no such section.
    """
    sections = made.sections.sections
    if section_id is not None:
        sections = tuple(s for s in sections if s.id == section_id)
        if not sections:
            raise NotFound(
                f"there is no section {section_id}.", where="--section",
                do=f"The job's sections are {', '.join(s.id for s in made.sections.sections)}.",
            )  # fmt: skip
    gone = {e.body["corrects"] for e in record if e.body.get("corrects")}
    live = [e for e in record if e.id not in gone and e.kind != "correction"]
    every = [z for d in made.drawings.decks for z in d.zones]
    over = {z.id for z in every if z.exposure is Exposure.OVER_OCCUPIED}
    deck_of = {s.id: s.deck_id for s in made.sections.sections}
    pulled: dict[str, list[tuple[float, float]]] = {d.id: [] for d in made.drawings.decks}
    for e in live:
        body = read_body(e.kind, e.v, e.body)
        if isinstance(body, PullOffV1) and body.x_m is not None and body.y_m is not None:
            deck = deck_of.get(body.section or "")
            if deck is not None:
                pulled[deck].append((body.x_m, body.y_m))
    return tuple(
        _one(made, live, s, made.job.spec.tests, over, pulled[s.deck_id]) for s in sections
    )


def _of(live: Sequence[Entry], model: type[B], section: Section) -> Iterator[B]:
    """Bodies of one kind that name the section, or a place on it."""
    for e in live:
        body = read_body(e.kind, e.v, e.body)
        if isinstance(body, model) and getattr(body, "section", None) == section.id:
            yield body


def _one(
    made: Pipeline,
    live: Sequence[Entry],
    section: Section,
    spec: SpecTests,
    over: set[str],
    pulled: Sequence[tuple[float, float]],
) -> SectionTests:
    area = section.developed_m2
    said: list[Message] = []
    bond = more = None
    pulls = list(_of(live, PullOffV1, section))
    if spec.bond is not None:
        sets = 1 if spec.bond_m2 is None else max(1, math.ceil(area / spec.bond_m2 - 1e-9))
        rule = replace(spec.bond, tests=spec.bond.tests * sets)
        bond = judge_bond([_pull(p) for p in pulls], rule)
    placed = [(p, (p.x_m, p.y_m)) for p in pulls if p.x_m is not None and p.y_m is not None]
    if placed:
        more = more_tests(
            [p.stress_pa for p, _ in placed],
            [(float(x or 0), float(y or 0)) for _, (x, y) in placed],
            section.floor,
            single_pa=spec.bond.single_pa if spec.bond else None,
            among_m=pulled,
        )
    tests = [
        judge_tests(
            [m.value for m in _of(live, MoistureV1, section) if m.method == method],
            TestRule(
                what="moisture", method=method, limit=limit, at_most=True,
                m2_per_test=spec.moisture_m2,
            ),
            area_m2=area,
        )
        for method, limit in sorted(spec.moisture.items())
    ]  # fmt: skip
    if spec.flood_h is not None and (not over or set(section.zone_ids) & over):
        floods = sorted(_of(live, FloodV1, section), key=lambda f: f.started)
        seen = [Flooded(hours=_hours(f), leaked=f.leaked) for f in floods]
        tests.append(judge_flood(seen, hours=spec.flood_h))
    tests += [
        judge_tests(
            [s.value for s in _of(live, SlipV1, section) if s.method == method and s.wet],
            TestRule(
                what="slip", method=method, limit=limit, at_most=False, m2_per_test=spec.slip_m2
            ),
            area_m2=area,
        )
        for method, limit in sorted(spec.slip.items())
    ]
    if bond is None and not tests:
        said.append(Message(id="acceptance.tests_none"))
    return SectionTests(
        section_id=section.id, bond=bond, more=more, tests=tuple(tests), messages=tuple(said)
    )


def _hours(f: FloodV1) -> float | None:
    if f.stopped is None:
        return None
    begun, ended = datetime.fromisoformat(f.started), datetime.fromisoformat(f.stopped)
    return (ended - begun).total_seconds() / 3600


def _pull(p: PullOffV1) -> Pull:
    """The core's planes; shares of a face that was read in part are made whole."""
    shares = {
        "concrete": p.in_concrete, "concrete-primer": p.at_bond, "within-coat": p.in_coating,
        "glue": p.glue,
    }  # fmt: skip
    total = math.fsum(shares.values())
    planes = {k: v / total for k, v in shares.items() if v > 0} if total > 0 else {}
    return Pull(strength_pa=p.stress_pa, planes=planes, place=p.fixture)
