"""Bond, moisture, flood and slip of a deck as a page: results on its plan, where to test next.

Pulls around a low one come from the core. Tests that are asked for and missing are put into
the widest gaps between those of their kind, since the contract names a count, not a place.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from shapely import Point, contains_xy
from shapely.geometry.base import BaseGeometry

from tackfree.deck.types import Section
from tackfree.errors import NotFound
from tackfree.evidence.kernel import FloatArray
from tackfree.record.bodies.testing import MoistureV1, PullOffV1, SlipV1
from tackfree.record.entries import Entry
from tackfree.record.kinds import read_body
from tackfree.service.acceptance import SectionTests, judge_sections
from tackfree.service.film_tests import SHARES, TestsView, asked, by_zone, told, zone_lines
from tackfree.service.pipeline import Pipeline
from tackfree.sheets.tests_deck import TestedPart, TestMark, deck_of_tests_svg
from tackfree.units import System, show
from tackfree.words import say

EDGE_M = 1.0  # practice: a test stands so far from the edges where it can
STEP_M = 0.5
Place = tuple[float, float]


@dataclass(frozen=True, kw_only=True)
class Spot:
    """A place to test next, numbered over the deck."""

    number: int
    said: str


@dataclass(frozen=True, kw_only=True)
class TestedRow:
    """One section: its word, why, and its places to test next."""

    view: TestsView
    spots: tuple[Spot, ...]


@dataclass(frozen=True, kw_only=True)
class TestsPage:
    """Everything the template places."""

    __test__ = False

    decks: tuple[str, ...]
    deck: str
    svg: str
    head: str
    zones: tuple[str, ...]
    about: str
    rows: tuple[TestedRow, ...]
    invented: bool


@dataclass(frozen=True, kw_only=True)
class _Done:
    """One result with its place: pull, moisture or slip."""

    kind: str  # pull, moisture, slip
    x_m: float
    y_m: float
    text: str
    low: bool


def page_of_tests(
    made: Pipeline, record: Sequence[Entry], deck: str | None, *, system: System, language: str
) -> TestsPage:
    """The tests of one deck (the first that was tested, or the first of all).

    Raises
    ------
    NotFound
        If the job has no such deck.
    """
    every = {s.id: s for s in made.sections.sections}
    decks = tuple(dict.fromkeys(s.deck_id for s in every.values()))
    done = _done(made, record, system, language)
    if deck is None:
        deck = next((every[s].deck_id for s in done if s in every), decks[0])
    if deck not in decks:
        raise NotFound(f"there is no deck {deck}.", where="deck",
                       do=f"The job's decks are {', '.join(decks)}.")  # fmt: skip
    judged = {t.section_id: t for t in judge_sections(made, record)}
    mine = [s for s in every.values() if s.deck_id == deck]
    views = told(made, [judged[s.id] for s in mine], system, language)
    rows, marks, count = [], [], 0
    for v in views:
        section, here = every[v.section], done.get(v.section, [])
        marks += [TestMark(x_m=d.x_m, y_m=d.y_m, text=d.text, low=d.low) for d in here]
        spots = []
        for kind, place in wanted_places(made, judged[v.section], section, here):
            count += 1
            name = say(f"film.test_{kind}", language)
            marks.append(TestMark(x_m=place[0], y_m=place[1], text=name, number=count))
            said = f"{name}: {_taped(section, place, system, language)}"
            spots.append(Spot(number=count, said=said))
        if asked(judged[v.section]):
            rows.append(TestedRow(view=v, spots=tuple(spots)))
    words = {v.section: v for v in views}
    parts = [
        TestedPart(id=s.id, short=s.id.removeprefix(f"{deck}-"), floor=s.floor,
                   word=words[s.id].word, holds=words[s.id].holds)
        for s in mine
    ]  # fmt: skip
    tally = {k: sum(v.holds is k for v in views) for k in (True, False, None)}
    unit = show(1e6, "pressure", system, language=language).rsplit("\u00a0", 1)[-1]
    return TestsPage(
        decks=decks, deck=deck, rows=tuple(rows), invented=made.job.invented,
        svg=deck_of_tests_svg(parts, marks, title=f"{say('film.tests_title', language)} {deck}"),
        head=say("film.tests_head", language, holds=tally[True], fails=tally[False],
                 open=tally[None]) if rows else say("acceptance.tests_none", language),
        zones=zone_lines(by_zone(made, [judged[s.id] for s in mine]), system, language),
        about=say("film.tests_marks", language, unit=unit),
    )  # fmt: skip


def wanted_places(
    made: Pipeline, t: SectionTests, section: Section, done: Sequence[_Done]
) -> list[tuple[str, Place]]:
    """Kind and place of every test that is still wanted: those around a low pull first."""
    out: list[tuple[str, Place]] = []
    if t.more is not None:
        out += [("pull", (x, y)) for x, y in t.more.places]
    spec, lacking = made.job.spec.tests, []
    if spec.bond is not None and t.bond is not None:
        sets = 1
        if spec.bond_m2 is not None:
            sets = max(1, math.ceil(section.developed_m2 / spec.bond_m2 - 1e-9))
        lacking.append(("pull", spec.bond.tests * sets - t.bond.counted))
    lacking += [(v.what, v.wanted - v.counted) for v in t.tests if v.holds is None]
    for kind, count in lacking:
        there = [(d.x_m, d.y_m) for d in done if d.kind == kind]
        there += [place for _, place in out]
        out += [(kind, place) for place in spread_over(section, max(0, count), there)]
    return out


def spread_over(section: Section, count: int, there: Sequence[Place]) -> list[Place]:
    """Places as far from each other and from those there as they can be; the middle first."""
    floor: BaseGeometry = section.floor.buffer(-EDGE_M)
    if floor.is_empty:
        floor = section.floor
    x0, y0, x1, y1 = floor.bounds
    xs = np.linspace(x0, x1, max(2, math.ceil((x1 - x0) / STEP_M)))
    ys = np.linspace(y0, y1, max(2, math.ceil((y1 - y0) / STEP_M)))
    nodes = np.stack(np.meshgrid(xs, ys), axis=-1).reshape(-1, 2)
    nodes = nodes[contains_xy(floor, nodes)]
    if not len(nodes):
        at = section.floor.representative_point()
        nodes = np.array([[at.x, at.y]])
    far: FloatArray = np.full(len(nodes), np.inf)
    for place in there:
        far = np.minimum(far, np.hypot(*(nodes - place).T))
    out: list[Place] = []
    while len(out) < min(count, len(nodes)):
        first = not out and not there
        k = int(np.hypot(*(nodes - nodes.mean(0)).T).argmin() if first else far.argmax())
        out.append((float(nodes[k, 0]), float(nodes[k, 1])))
        far = np.minimum(far, np.hypot(*(nodes - nodes[k]).T))
    return out


def _done(
    made: Pipeline, record: Sequence[Entry], system: System, language: str
) -> dict[str, list[_Done]]:
    """Results with a place, by section, in the order they came."""
    gone = {e.body["corrects"] for e in record if e.body.get("corrects")}
    spec = made.job.spec.tests
    single = spec.bond.single_pa if spec.bond is not None else None
    out: dict[str, list[_Done]] = {}
    for e in record:
        if e.kind == "correction" or e.id in gone:
            continue
        body = read_body(e.kind, e.v, e.body)
        if not isinstance(body, PullOffV1 | MoistureV1 | SlipV1) or body.section is None:
            continue
        if body.x_m is None or body.y_m is None:
            continue
        kind, low = "pull", False
        if isinstance(body, PullOffV1):
            text = show(body.stress_pa, "pressure", system, language=language)
            text, low = text.rsplit("\u00a0", 1)[0], single is not None and body.stress_pa < single
        else:
            kind = "moisture" if isinstance(body, MoistureV1) else "slip"
            value = f"{100 * body.value:g} %" if body.method in SHARES else f"{body.value:g}"
            text = f"{say(f'film.test_{kind}', language)} {value}"
            limit = (spec.moisture if kind == "moisture" else spec.slip).get(body.method)
            low = limit is not None and (
                body.value > limit if kind == "moisture" else body.value < limit
            )
        out.setdefault(body.section, []).append(
            _Done(kind=kind, x_m=body.x_m, y_m=body.y_m, text=text, low=low)
        )
    return out


def _taped(section: Section, place: Place, system: System, language: str) -> str:
    """A place as a tape finds it, from the section's edges on the drawing."""
    x0, y0, _, _ = section.floor.bounds
    digits = 0 if system == "us" else 1
    at = Point(place)
    return say(
        "evidence.where", language, x=show(at.x - x0, "length", system, digits, language),
        y=show(at.y - y0, "length", system, digits, language),
    )  # fmt: skip
