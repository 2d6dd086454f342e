"""One look for pages, drawings and paper: a site drawing.

Concrete ground, chalk-white paper, ink lines, one accent (chalk-line blue).
States are told by hatch density and words, never by a colour code. Drawings
carry their colours as attributes, so that a file stands alone and prints; each
stroke and fill also carries a class (``s-ink``, ``f-paper``), so that a page can
restyle it with its own colour variables.
"""

from __future__ import annotations

from collections.abc import Mapping

FONT = "B612"
FONT_FALLBACK = "B612, 'DejaVu Sans', sans-serif"

# day ground, night ground
DAY = {
    "ground": "#d8d5cd",  # concrete grey
    "paper": "#f6f4ee",  # chalk white
    "ink": "#1d2225",
    "ink-2": "#4c5457",  # quieter ink, still 7:1 on paper
    "line": "#8c8f8b",
    "accent": "#1b4f9c",  # chalk-line blue
    "accent-ground": "#dfe7f3",
}
NIGHT = {
    "ground": "#15191b",
    "paper": "#1e2427",
    "ink": "#f1efe8",
    "ink-2": "#b9bebd",
    "line": "#6d7476",
    "accent": "#8fb8f2",
    "accent-ground": "#22324a",
}
# Paper that goes through a black-and-white printer: white ground, darker lines.
PRINT = {
    "ground": "#ffffff",
    "paper": "#ffffff",
    "ink": "#000000",
    "ink-2": "#3a3f42",
    "line": "#6f7473",
    "accent": "#1b4f9c",
    "accent-ground": "#e3e9f2",
}
PALETTES: Mapping[str, Mapping[str, str]] = {"day": DAY, "night": NIGHT, "print": PRINT}

# Hatch spacing in px (SVG) by state word; smaller is denser. 0 is no hatch.
# "tonight" is work of the shift in hand, "wet" a film nobody may step on.
HATCH = {"go": 0, "measure": 14, "wait": 7, "unknown": 4, "tonight": 9, "wet": 6, "done": 22}
# Direction [degrees] and crossing of each hatch, so that words differ in grey too.
HATCH_ANGLE = {"measure": 45, "wait": 45, "unknown": 0, "tonight": -45, "wet": 45, "done": 90}
HATCH_CROSSED = {"wet"}

# Line weights in px, as on a drawing: outline, object, thin.
HEAVY, MEDIUM, THIN = 2.6, 1.3, 0.7
