"""One look for pages, drawings and paper: a site drawing.

Concrete ground, chalk-white paper, ink lines, one accent (chalk-line blue).
States are told by hatch density and words, never by a colour code.
"""

from __future__ import annotations

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

# Hatch spacing in px (SVG) by state word; smaller is denser. 0 is no hatch.
HATCH = {"go": 0, "measure": 14, "wait": 7, "unknown": 4}
