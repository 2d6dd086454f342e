"""The record's clocks for pages that stay open: cheap to ask whether anything is new."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from tackfree.errors import ToolError
from tackfree.service.pipeline import Pipeline
from tackfree.service.placed import clock_entries, place_row, placed_lines

Json = Mapping[str, Any]


def mark(bundle: Path) -> int:
    """Grows when the record gets an entry that clocks stand on; 0 without any."""
    found = clock_entries(bundle)
    return found[-1].pos if found else 0


def record_rows(bundle: Path) -> tuple[Json, ...]:
    """Rows of what the record holds as placed; none where the job cannot be opened.

    The pages show a built job: a bundle that has since been broken must not take the
    board away from those who coat by it.
    """
    record = clock_entries(bundle)
    try:
        made = Pipeline.of(bundle)
        return tuple(place_row(made, one) for one in placed_lines(made, record))
    except ToolError:
        return ()
