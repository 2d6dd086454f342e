"""Plain tables for the terminal."""

from __future__ import annotations

from collections.abc import Iterable, Sequence


def table(head: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """Plain columns: the first to the left, the rest to the right."""
    every = [list(head), *[list(r) for r in rows]]
    widths = [max(len(r[i]) for r in every) for i in range(len(head))]
    lines = [
        "  ".join(
            cell.ljust(w) if i == 0 else cell.rjust(w)
            for i, (cell, w) in enumerate(zip(r, widths, strict=True))
        ).rstrip()
        for r in every
    ]
    return "\n".join([lines[0], "-" * len(lines[0]), *lines[1:]])
