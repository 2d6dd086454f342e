"""What a PDF page itself says about its scale: evidence, never a decision.

A scale printed in a title block holds only while nobody printed the sheet smaller, so
it counts little. Dimension lines carry their own length: where several agree, they
propose a scale, and every one of them is compared with the scale that was measured.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tackfree.intake.dxf.outlines import chain
from tackfree.intake.dxf.unit import ROOM_FITS, UnitGuess, length_m, rooms
from tackfree.intake.pdf.page import Page
from tackfree.intake.pdf.texts import Written
from tackfree.words import Message

FloatArray = NDArray[np.float64]

FT_M = 0.3048
POINT_M = 0.0254 / 72  # on paper
SAME_SCALE = 0.005  # scales this near are one
TEXT_OFF = 0.0025  # a dimension further off than this is doubted
NO_MATCH = 0.1  # further off than this it belongs to another line
PARALLEL = math.sin(math.radians(2))
NEAR = 2.5  # letter heights from a dimension's text to its line
SHORTEST = 2.0  # letter heights: shorter lines are ticks and arrows
MOST_DIMENSIONS = 400  # texts looked at

_NUMBER = r"(?:(\d+(?:\.\d+)?)\s+)?(\d+)/(\d+)|(\d+(?:\.\d+)?)"
_INCHES_TO_FEET = re.compile(
    rf"""(?<![\d/.])(?:{_NUMBER})\s*(?:"|''|in\.?)\s*=\s*
        (\d+(?:\.\d+)?)\s*(?:'|ft\.?)(?:\s*-?\s*(\d+(?:\.\d+)?)\s*"?)?""",
    re.VERBOSE | re.IGNORECASE,
)
_RATIO = re.compile(r"(?<![\d:.])1\s*:\s*(\d{1,2}[., ]?\d{3}|\d{1,4})(?![\d:])")
_PLAIN_RATIO = (2, 10_000)


@dataclass(frozen=True, kw_only=True)
class Dimension:
    """A written length and the scales that the lines beside it would give. [m/pt]"""

    text: str
    length_m: float
    scales: tuple[float, ...]


def printed_scale(text: str, *, user_unit: float = 1.0) -> float | None:
    """Metres for one point of the page, where a text states a scale.

    Examples
    --------
    >>> print(round(0.3048 / printed_scale('SCALE: 1/8" = 1\\'-0"'), 6))  # points to the foot
    9.0
    """
    feet = _INCHES_TO_FEET.search(text)
    if feet:
        whole, top, bottom, plain, ft, inch = feet.groups()
        paper = float(plain) if plain else float(whole or 0) + float(top) / (float(bottom) or 1)
        real = float(ft) * FT_M + float(inch or 0) * 0.0254
        return real / (paper * 0.0254) * POINT_M * user_unit if paper > 0 and real > 0 else None
    ratio = _RATIO.search(text)
    if ratio:
        times = float(re.sub(r"[., ]", "", ratio[1]))
        if _PLAIN_RATIO[0] <= times <= _PLAIN_RATIO[1]:
            return times * POINT_M * user_unit
    return None


def dimensions_of(page: Page) -> tuple[Dimension, ...]:
    """Every text that is a length, with the lines it may be the dimension of."""
    texts = [(w, m) for w in page.written if (m := length_m(w.lettering.text)) is not None]
    if not texts or not page.drawn.strokes:
        return ()
    chains = [chain(s) for s in page.drawn.strokes]
    legs = np.concatenate([np.hstack([c[:-1], c[1:]]) for c in chains])
    found = []
    for written, real in texts[:MOST_DIMENSIONS]:
        lengths = _lines_beside(legs, written)
        if lengths:
            scales = tuple(real / length for length in lengths)
            found.append(Dimension(text=written.lettering.text, length_m=real, scales=scales))
    return tuple(found)


def _lines_beside(legs: FloatArray, written: Written) -> list[float]:
    """Lengths of the lines that run along a text near its middle, or broken by it. [pt]"""
    along = np.array(written.along)
    across = np.array([-along[1], along[0]])
    middle = np.array(written.lettering.at)
    a, b = legs[:, :2] - middle, legs[:, 2:] - middle
    start, end = np.minimum(a @ along, b @ along), np.maximum(a @ along, b @ along)
    off_a, off_b = a @ across, b @ across
    long = end - start
    flat = (np.abs(off_a - off_b) <= PARALLEL * long) & (long >= SHORTEST * written.high)
    off = np.abs(off_a + off_b) / 2
    beside = flat & (off <= NEAR * written.high) & (start < 0) & (end > 0)
    middling = np.abs(start + end) <= 0.4 * long
    out = [float(n) for n in long[beside & middling]]
    # a line broken to make room for its text
    through = flat & (off <= 0.6 * written.high)
    before, after = through & (end <= 0), through & (start >= 0)
    if before.any() and after.any():
        left = int(np.flatnonzero(before)[np.argmax(end[before])])
        right = int(np.flatnonzero(after)[np.argmin(start[after])])
        if start[right] - end[left] <= written.long + 4 * written.high:
            out.append(float(end[right] - start[left]))
    return out


def guesses(page: Page, dimensions: tuple[Dimension, ...], *, file: str) -> tuple[UnitGuess, ...]:
    """Scales that something on the page speaks for, likeliest first.

    Each dimension that agrees with another weighs 5, one alone 1, a printed scale 1. Room
    labels are rounded: those that fit a scale add 1 to it, and on their own they weigh 1.

    Source
    ------
    Weights: a default of ours.
    """
    printed = [
        (w.lettering.text, s)
        for w in page.written
        if (s := printed_scale(w.lettering.text, user_unit=page.user_unit)) is not None
    ]
    spoken = [(d, s) for d in dimensions for s in d.scales]
    found: list[tuple[float, int, list[Message]]] = []
    left = list(spoken)
    while left:
        groups = [[(d, s) for d, s in left if abs(s / c - 1) <= SAME_SCALE] for _, c in left]
        best = max(groups, key=lambda g: (len({d.text for d, _ in g}), len(g)))
        texts = sorted({d.text for d, _ in best})
        scale = float(np.median([s for _, s in best]))
        said = Message(
            id="intake.speaks-line",
            values={"file": file, "count": len(texts), "text": ", ".join(texts[:3])},
        )
        found.append((scale, 5 * len(texts) if len(texts) > 1 else 1, [said]))
        left = [(d, s) for d, s in left if abs(s / scale - 1) > 2 * SAME_SCALE]
        if len(texts) == 1:
            break  # the rest are chance
    for text, scale in printed:
        said = Message(id="intake.speaks-printed", values={"file": file, "text": text})
        near = [i for i, f in enumerate(found) if abs(f[0] / scale - 1) <= SAME_SCALE]
        if near:
            at, weight, why = found[near[0]]
            found[near[0]] = (at, weight + 1, [*why, said])
        else:
            found.append((scale, 1, [said]))
    labelled = [(r, s) for r in rooms(page.drawn) if (s := r.unit_m) is not None]
    for i, (at, weight, why) in enumerate(found):
        fit = [r.text for r, _ in labelled if r.fits(at)]
        if fit:
            found[i] = (at, weight + 1, [*why, _rooms_say(fit, file)])
    others = [(r, s) for r, s in labelled if not any(r.fits(f[0]) for f in found)]
    if others:
        middle = float(np.median([s for _, s in others]))
        fit = [r.text for r, s in others if abs(s / middle - 1) <= ROOM_FITS]
        found.append((middle, 1, [_rooms_say(fit or [others[0][0].text], file)]))
    ranked = sorted(found, key=lambda f: (-f[1], -f[0]))
    return tuple(
        UnitGuess(unit=name_of(scale), unit_m=scale, weight=weight, evidence=tuple(why))
        for scale, weight, why in ranked
    )


def _rooms_say(texts: list[str], file: str) -> Message:
    values = {"file": file, "text": texts[0], "count": len(texts)}
    return Message(id="intake.speaks-room-page", values=values)


def name_of(scale_m: float) -> str:
    """A scale for people."""
    return f"{FT_M / scale_m:.4g} pt to the foot"


def doubts(
    page: Page, dimensions: tuple[Dimension, ...], scale_m: float, *, file: str
) -> tuple[Message, ...]:
    """Where the page contradicts a measured scale: its printed scale, its dimensions."""
    out = []
    for w in page.written:
        stated = printed_scale(w.lettering.text, user_unit=page.user_unit)
        if stated is not None and abs(stated / scale_m - 1) > SAME_SCALE:
            values = {
                "file": file,
                "text": w.lettering.text,
                "percent": round(100 * stated / scale_m, 1),
            }
            out.append(Message(id="intake.printed-smaller", values=values))
    for d in dimensions:
        nearest = min(d.scales, key=lambda s: abs(scale_m / s - 1))
        off = scale_m / nearest - 1
        if TEXT_OFF < abs(off) < NO_MATCH:
            values = {
                "file": file,
                "text": d.text,
                "measured": round(d.length_m / nearest, 2),
                "unit": "pt",
                "length_percent": round(100 * off, 3),
                "area_percent": round(100 * ((1 + off) ** 2 - 1), 3),
            }
            out.append(Message(id="intake.dimension-text", values=values))
    labelled = [r for r in rooms(page.drawn) if r.unit_m is not None]
    off_rooms = [r for r in labelled if not r.fits(scale_m)]
    if off_rooms:
        values = {"file": file, "text": off_rooms[0].text, "count": len(off_rooms),
                  "all": len(labelled)}  # fmt: skip
        out.append(Message(id="intake.room-off", values=values))
    return tuple(out)
