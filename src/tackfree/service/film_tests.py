"""Bond, moisture, flood and slip of each section in words: the result, why, what more to pull."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import fsum
from typing import Any

from tackfree.deck.types import Section
from tackfree.record.entries import Entry
from tackfree.service.acceptance import SectionTests, judge_sections
from tackfree.service.evidence_words import spoken
from tackfree.service.pipeline import Pipeline
from tackfree.service.save import to_json
from tackfree.units import System, show
from tackfree.words import Message, say

SHARES = ("probe-rh", "meter")  # methods that give a share of 1


@dataclass(frozen=True, kw_only=True)
class TestsView:
    """What is said of the tests of one section."""

    __test__ = False

    section: str
    holds: bool | None
    word: str
    lines: tuple[str, ...]
    spots: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class ZoneTests:
    """Tests of all sections of a zone: ``pulls`` that count and their mean, what fails.

    ``holds`` is False where any section fails, True where all hold. Areas are developed.
    """

    zone_id: str
    holds: bool | None
    pulls: int
    mean_pa: float | None
    sections: int
    fails: tuple[str, ...]
    fails_m2: float
    area_m2: float


def by_zone(made: Pipeline, found: Sequence[SectionTests]) -> tuple[ZoneTests, ...]:
    """Zone by zone: a weak corner is then some of the ground, not all of it."""
    sections = {s.id: s for s in made.sections.sections}
    out = []
    for zone in sorted({z for t in found for z in sections[t.section_id].zone_ids}):
        mine = [t for t in found if zone in sections[t.section_id].zone_ids]
        states = {t.holds for t in mine}
        fails = [t.section_id for t in mine if t.holds is False]
        bonds = [t.bond for t in mine if t.bond is not None and t.bond.mean_pa is not None]
        pulls = sum(b.counted for b in bonds)
        total = fsum((b.mean_pa or 0.0) * b.counted for b in bonds)
        out.append(
            ZoneTests(
                zone_id=zone, holds=False if fails else (True if states == {True} else None),
                pulls=pulls, mean_pa=total / pulls if pulls else None, sections=len(mine),
                fails=tuple(fails), fails_m2=fsum(sections[s].developed_m2 for s in fails),
                area_m2=fsum(sections[t.section_id].developed_m2 for t in mine),
            )
        )  # fmt: skip
    return tuple(out)


def zone_lines(zones: Sequence[ZoneTests], system: System, language: str) -> tuple[str, ...]:
    """Each zone with a pull or a fault in words; where it fails, on how much of its ground."""
    out = []
    for z in (z for z in zones if z.pulls or z.fails):
        mean = "–" if z.mean_pa is None else show(z.mean_pa, "pressure", system, language=language)
        line = say("film.tests_zone", language, zone=z.zone_id, word=_word(z.holds, language),
                   count=z.pulls, mean=mean)  # fmt: skip
        if z.fails:
            line += " " + say(
                "film.tests_zone_fails", language, fails=len(z.fails), sections=z.sections,
                area=show(z.fails_m2, "area", system, language=language),
                whole=show(z.area_m2, "area", system, language=language),
                names=", ".join(z.fails),
            )  # fmt: skip
        out.append(line)
    return tuple(out)


def told(
    made: Pipeline, found: Sequence[SectionTests], system: System, language: str
) -> tuple[TestsView, ...]:
    """Sections that were tested or must be, in words; those that fail first."""
    sections = {s.id: s for s in made.sections.sections}
    views = [_view(sections[t.section_id], t, system, language) for t in found]
    order = {False: 0, None: 1, True: 2}
    return tuple(sorted(views, key=lambda v: order[v.holds]))


def asked(t: SectionTests) -> bool:
    """Whether any test of a section is asked for or was made."""
    return t.bond is not None or bool(t.tests) or t.more is not None


def told_of(
    made: Pipeline, record: Sequence[Entry], section_id: str, system: System, language: str
) -> TestsView | None:
    """Tests of one section in words; None where none is asked for and none was made."""
    found = judge_sections(made, record, section_id)
    one = found[0]
    if not asked(one):
        return None
    return told(made, found, system, language)[0]


def _view(section: Section, t: SectionTests, system: System, language: str) -> TestsView:
    lines = []
    if t.bond is not None and t.bond.counted:
        mean = "–" if t.bond.mean_pa is None else show(t.bond.mean_pa, "pressure", system,
                                                       language=language)  # fmt: skip
        word = _word(t.bond.holds, language)
        lines.append(say("film.tests_bond", language, count=t.bond.counted, mean=mean, word=word))
    if t.bond is not None:
        lines += [spoken(m, system, language) for m in t.bond.messages]
    for test in t.tests:
        lines += [spoken(_in_its_unit(m, language), system, language) for m in test.messages]
    spots: list[str] = []
    if t.more is not None and t.more.places:
        lines += [spoken(m, system, language) for m in t.more.messages]
        x0, y0, _, _ = section.floor.bounds
        digits = 0 if system == "us" else 1
        spots = [
            say("evidence.where", language,
                x=show(x - x0, "length", system, digits, language),
                y=show(y - y0, "length", system, digits, language))
            for x, y in t.more.places
        ]  # fmt: skip
    lines += [spoken(m, system, language) for m in t.messages]
    return TestsView(
        section=section.id, holds=t.holds, word=_word(t.holds, language),
        lines=tuple(dict.fromkeys(lines)), spots=tuple(spots),
    )  # fmt: skip


def _word(holds: bool | None, language: str) -> str:
    name = {True: "holds", False: "fails", None: "open"}[holds]
    return say(f"film.tests_{name}", language)


def _in_its_unit(m: Message, language: str) -> Message:
    """Method and limits as people say them."""
    method = m.values.get("method")
    if method is None:
        return m
    values = dict(m.values)
    values["method"] = say(f"film.method_{method}", language)
    if method in SHARES:
        for key in ("limit", "worst"):
            if isinstance(values.get(key), float):
                values[key] = f"{100 * float(values[key]):g} %"
    return replace(m, values=values)


def text(views: Sequence[TestsView], language: str = "en", zones: Sequence[str] = ()) -> str:
    """All sections for people: zone by zone, then the sections, the failing first."""
    count = {k: sum(v.holds is k for v in views) for k in (True, False, None)}
    out = [say("film.tests_head", language, holds=count[True], fails=count[False],
               open=count[None])]  # fmt: skip
    if zones:
        out += [say("film.zones", language), *(f"  {z}" for z in zones)]
    for v in views:
        out += ["", f"{v.section}: {v.word}", *_lines(v, language)]
    return "\n".join(out)


def under_film(v: TestsView, language: str) -> str:
    """One section's tests as a paragraph under its film."""
    head = f"  {say('film.tests_title', language)}: {v.word}"
    return "\n".join([head, *(f"  {line}" for line in _lines(v, language))])


def _lines(v: TestsView, language: str) -> list[str]:
    out = [f"  {line}" for line in v.lines]
    if v.spots:
        out.append(f"  {say('film.tests_next', language)}")
        out += [f"    {k}. {spot}" for k, spot in enumerate(v.spots, 1)]
    return out


def document(made: Pipeline, found: Sequence[SectionTests]) -> dict[str, Any]:
    """The results as JSON, in SI."""
    return {
        "zones": [to_json(z) for z in by_zone(made, found)],
        "sections": [{"holds": t.holds, **to_json(t)} for t in found],
    }
