"""Sieves by number: the grain of a sand named as 16/30, and how fine a grading is."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from tackfree.film.checks import FilmError

# published: ASTM E11 openings [mm] by US sieve number
OPENING_MM: Mapping[int, float] = {
    4: 4.75, 8: 2.36, 16: 1.18, 20: 0.85, 30: 0.6, 40: 0.425, 50: 0.3, 70: 0.212,
    100: 0.15, 140: 0.106, 200: 0.075, 270: 0.053,
}  # fmt: skip


def grain_range_mm(sand: str) -> tuple[float, float]:
    """Smallest and largest grain of a sand named by two sieves: passing / retained.

    Raises
    ------
    FilmError
        If the text does not name two sieves, the coarse one first.

    Source
    ------
    Published: ASTM E11 openings.

    Examples
    --------
    >>> grain_range_mm("16/30")
    (0.6, 1.18)
    """
    parts = sand.split("/")
    numbers = [int(p) for p in parts if p.strip().isdigit()]
    if len(parts) != 2 or len(numbers) != 2 or any(n not in OPENING_MM for n in numbers):
        raise FilmError(
            f"'{sand}' does not name two sieves known here.",
            do=f"Write it as 16/30, of {', '.join(map(str, OPENING_MM))}.",
        )
    coarse, fine = (OPENING_MM[n] for n in numbers)
    if coarse <= fine:
        raise FilmError(f"'{sand}' names the fine sieve first.", do="Write the coarse one first.")
    return fine, coarse


def fineness_modulus(retained_pct: Sequence[float]) -> float:
    """Sum of the cumulative shares retained on the standard series, over 100.

    Parameters
    ----------
    retained_pct : sequence of float
        Cumulative retained on sieves 4, 8, 16, 30, 50, 100. [%]

    Source
    ------
    Published: ASTM C136, fineness modulus.

    Examples
    --------
    >>> fineness_modulus([0, 10, 30, 60, 85, 95])
    2.8
    """
    if any(not 0 <= r <= 100 for r in retained_pct):
        raise FilmError("a share retained is not from 0 to 100 %.", do="Check the sieve sheet.")
    return sum(retained_pct) / 100
