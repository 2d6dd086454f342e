"""Which reading, kit or gauge is likely wrong, in words; only where something does not fit."""

from __future__ import annotations

import math
from typing import Any

from tackfree.evidence.suspects import NOTHING, Suspect
from tackfree.service.evidence import Study
from tackfree.service.evidence_words import percent, where
from tackfree.units import System, show
from tackfree.words import say

LEAST = 0.05  # a chance worth a line
OTHERS = 3
DRAWS = 1000  # a chance is told no finer than this


def told(s: Study, system: System, language: str) -> tuple[str, ...]:
    """The likeliest cause with its chance, then the others worth a line."""
    found = s.suspects
    if found is None:
        return ()
    first, *rest = found.causes
    others = [c for c in rest if c.chance >= LEAST][:OTHERS]
    out = [
        say("film.suspect_first", language, cause=_said(s, first, system, language),
            pct=percent(first.chance, DRAWS, language))
    ]  # fmt: skip
    out += [
        say("film.suspect_other", language, cause=_said(s, c, system, language),
            pct=percent(c.chance, DRAWS, language))
        for c in others
    ]  # fmt: skip
    return (*out, say("film.suspect_note", language))


def _said(s: Study, c: Suspect, system: System, language: str) -> str:
    """One cause in words, with what to look at."""

    def film(um: float) -> str:
        return show(abs(um), "film", system, language=language)

    def kits(cell: int) -> str:
        names = s.cells[cell].kits
        return names[0] if len(names) == 1 else f"{names[0]} … {names[-1]}"

    values: dict[str, Any] = {
        "off": film(c.off),
        "way": say(f"film.suspect_{'more' if c.off >= 0 else 'less'}", language),
    }
    if c.cause == "reading":
        read = s.reads[c.which]
        node = s.grid.node(read.x_m, read.y_m)
        values["where"] = "" if node is None else where(s, *node, system, language)
        ends = [film(u).rsplit("\u00a0", 1)[0] for u in (read.low_um, read.high_um)
                if math.isfinite(u)]  # fmt: skip
        values["seen"] = "–".join(ends)
    elif c.cause == "gauge":
        values["gauge"] = sorted({r.gauge for r in s.reads})[c.which]
    elif c.cause not in (NOTHING, "kits-alike"):
        values["kits"] = kits(c.which)
        if c.other is not None:
            values["other"] = kits(c.other)
    name = c.cause
    if name == "kits-alike":  # too low it is no residue: less than none there cannot be
        name += "_more" if c.off >= 0 else "_less"
    return say(f"film.suspect_{name}", language, **values)


def document(s: Study) -> list[dict[str, Any]] | None:
    """Causes worth a line as JSON, films in µm; None where nothing is out of place."""
    found = s.suspects
    if found is None:
        return None
    return [
        {
            "cause": c.cause,
            "chance": c.chance,
            "off_um": c.off,
            "kits": list(s.cells[c.which].kits) if c.cause in _OF_CELLS else [],
            "other_kits": [] if c.other is None else list(s.cells[c.other].kits),
        }
        for c in found.causes
        if c.chance >= LEAST or c is found.causes[0]
    ]


_OF_CELLS = ("area", "kit-missing", "kit-twice", "wrong-section")
