"""The estimator's dry run as a page: how many readings, where, and what the rule lets pass."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from tackfree.evidence.rules import SPOT_RULES, areas_to_measure
from tackfree.evidence.sampling import Deck, contract_passes, spots_pass
from tackfree.evidence.spread import USUAL
from tackfree.record.entries import Entry
from tackfree.service import film_plan_words as told
from tackfree.service.evidence import READ_SD_UM, SEED
from tackfree.service.film_ground import is_primer
from tackfree.service.film_plan import Needed, plan_readings
from tackfree.service.pipeline import Pipeline
from tackfree.sheets.readings_curve import Curve
from tackfree.units import System
from tackfree.words import say

SHORT = (0.01, 0.05, 0.10, 0.20, 0.30, 0.50)  # of a deck under the specified film
Rows = tuple[tuple[str, ...], ...]


@dataclass(frozen=True, kw_only=True)
class Place:
    """A section and its coats, to choose from."""

    section: str
    coats: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class ReadingsPage:
    """Everything the template places; without a section only the places to choose from."""

    places: tuple[Place, ...]
    section: str = ""
    coat: str = ""
    deck: str = ""
    lines: tuple[str, ...] = ()
    patches: tuple[str, ...] = ()
    spots: tuple[str, ...] = ()
    svg: str = ""
    curve: Curve | None = None
    table_title: str = ""
    table: Rows = ()
    passes_title: str = ""
    passes: Rows = ()


def places_of(made: Pipeline) -> tuple[Place, ...]:
    """Every section with the coats that a comb reads."""
    out = []
    for s in made.sections.sections:
        coats = tuple(
            c.id for c in made.job.build_ups[s.build_up_id].coats if not is_primer(made, s.id, c.id)
        )
        if coats:
            out.append(Place(section=s.id, coats=coats))
    return tuple(out)


def readings_page(
    made: Pipeline,
    record: Sequence[Entry],
    section: str | None,
    coat: str | None,
    *,
    system: System,
    language: str,
) -> ReadingsPage:
    """The page of one section and coat (its first that a comb reads), or of all to choose.

    Raises
    ------
    NotFound
        If the job has no such section or coat.
    """
    places = places_of(made)
    if section is None:
        return ReadingsPage(places=places)
    known = {p.section: p.coats for p in places}
    n = plan_readings(made, section, coat or known.get(section, ("",))[0], record=record)
    return ReadingsPage(
        places=tuple(p for p in places if p.section == section),
        section=section,
        coat=n.coat,
        deck=n.ground.section.deck_id,
        lines=told.lines(n, system, language),
        patches=told.patch_lines(n, language),
        spots=told.spots_said(n, system, language),
        svg=told.spots_svg(n, system, language),
        curve=told.curve_of(n, system, language),
        table_title=told.table_title(n, language),
        table=_numbered(told.table_of(n, system, language), language),
        passes_title=say("film.passes_title", language, count=counted(n)),
        passes=passes_of(n, language),
    )


def counted(n: Needed) -> int:
    """Readings the rule is asked with: those planned, else as many as it asks for."""
    return n.by_rule if n.readings is None else n.readings


def passes_of(n: Needed, language: str) -> Rows:
    """Head and rows: of decks short on such a share, how many the contract's rule lets pass,
    and a standard's rule of spots where the contract names one."""
    usual, rule = USUAL.middle, n.rule
    spots = SPOT_RULES[rule.spots] if rule.spots is not None else None
    head = [say("film.passes_short", language), say("film.passes_contract", language)]
    if spots is not None:
        head.append(say("film.passes_spots", language))
    rows = [tuple(head)]
    for share in SHORT:
        deck = Deck(
            specified_um=n.asked_um,
            short_share=share,
            sd_um=math.hypot(usual.sd, usual.tau),
            spot_sd_um=usual.micro,
            read_sd_um=READ_SD_UM,
        )
        row = [f"{share:.0%}".replace("%", "\u00a0%")]
        row.append(_often(contract_passes(deck, counted(n), rule, seed=SEED)))
        if spots is not None:
            areas = areas_to_measure(n.ground.section.developed_m2, spots)
            most = rule.most * n.asked_um
            row.append(_often(spots_pass(deck, areas, spots, most_um=most, seed=SEED)))
        rows.append(tuple(row))
    return tuple(rows)


def _numbered(rows: Rows, language: str) -> Rows:
    """The table under its curve; a short first head, so that a phone shows all columns."""
    head, *rest = rows
    return ((say("film.readings_short", language), *head[1:]), *rest)


def _often(share: float) -> str:
    """A share of 20,000 draws in per cent; never a bare 0 or 100."""
    if share < 0.005:
        return "< 1\u00a0%"
    return "> 99\u00a0%" if share > 0.995 else f"{100 * share:.0f}\u00a0%"
