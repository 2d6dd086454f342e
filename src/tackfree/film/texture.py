"""Texture fill: the volume a surface swallows before film stands over its peaks.

It belongs to the surface **under each coat**: the concrete's profile under the primer,
what the primer left open under the base, the sand of the coat below under a lock coat.
Measure it (sand patch) where money hangs on it; the rest here are guesses with honest
ends, and say so.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from tackfree.because import Source
from tackfree.film.aggregate import PACKED_SHARE, cover_fraction
from tackfree.film.checks import FilmError, X, above_zero, back, not_below_zero, share
from tackfree.units import UM_PER_MIL
from tackfree.words import Message

SWEPT_OR_REFUSED = ("to-refusal", "covered-swept")
METHODS = (*SWEPT_OR_REFUSED, "seeded-backrolled")

# memory: likely mean depth by profile class [mil]. The class is matched by eye against
# replicas and no document gives it a depth; published work finds that even one measured
# line misses by more than half. So each end is a factor of two away.
_PROFILE_MIL = {1: 1, 2: 3, 3: 5, 4: 8, 5: 12, 6: 18, 7: 26, 8: 36, 9: 48, 10: 60}
_PROFILE_FACTOR = 2.0

# memory: share of a grain's height that sits in the cured film below, and share of the
# deck that grains hide, for the most, likely and least sunk broadcast
_SUNK = (0.65, 0.5, 0.35)
_HIDDEN = (PACKED_SHARE, 0.82, 0.70)


@dataclass(frozen=True, kw_only=True)
class Fill:
    """A texture fill with its ends. [µm]

    ``basis`` says in words how it was found, ``source`` how far to trust it.
    """

    low_um: float
    mid_um: float
    high_um: float
    source: Source
    basis: Message

    def __post_init__(self) -> None:
        if not 0 <= self.low_um <= self.mid_um <= self.high_um < math.inf:
            raise FilmError(
                f"texture fill {self.low_um:g}, {self.mid_um:g}, {self.high_um:g} µm is out of "
                "order.",
                do="Give the ends low, likely, high.",
            )


def sand_patch_depth_um(*, volume_ml: float, diameter_m: float) -> float:
    """Mean texture depth from a known volume of sand spread to a round patch.

    Parameters
    ----------
    volume_ml : float
        Volume of sand. [mL], above 0
    diameter_m : float
        Mean diameter of the patch. [m], above 0

    Returns
    -------
    float
        Mean depth under the peaks. [µm]

    Raises
    ------
    FilmError
        If a value is not above 0.

    Source
    ------
    Published: DAfStb repair guideline, sand method, R = 40 V / (π d²) with V in cm³,
    d in cm, R in mm; the same geometry as ASTM E965 and EN 13036-1.

    Examples
    --------
    >>> print(round(sand_patch_depth_um(volume_ml=25.0, diameter_m=0.25)))
    509
    """
    volume = float(above_zero(volume_ml, "sand volume", "mL", "Measure the sand again."))
    diameter = float(above_zero(diameter_m, "patch diameter", "m", "Measure four diameters."))
    return 4 * volume / (math.pi * diameter**2)  # mL/m² is µm


def profile_fill_um(csp: int) -> Fill:
    """Likely fill of bare concrete by its surface profile class, before any coat.

    A class is a look, not a depth: the ends are a factor of two from the middle. A
    sand patch replaces all three.

    Parameters
    ----------
    csp : int
        Concrete surface profile class, 1 to 10.

    Returns
    -------
    Fill
        Low, likely and high. [µm]

    Raises
    ------
    FilmError
        If the class is not 1 to 10.

    Source
    ------
    Memory for the depths (the classes are those of ICRI Guideline 310.2R); the width of
    the ends follows ACI Materials Journal 110(5), 2013, 519-528: a line profile can be
    wrong by more than half.

    Examples
    --------
    >>> fill = profile_fill_um(3)
    >>> print(fill.low_um / 25.4, fill.mid_um / 25.4, fill.high_um / 25.4)
    2.5 5.0 10.0
    """
    if csp not in _PROFILE_MIL:
        raise FilmError(
            f"surface profile class is {csp}; the classes are 1 to 10.",
            do="Match the surface against the replicas, or measure it by sand patch.",
        )
    mid = _PROFILE_MIL[csp] * UM_PER_MIL
    return Fill(
        low_um=mid / _PROFILE_FACTOR,
        mid_um=mid,
        high_um=mid * _PROFILE_FACTOR,
        source=Source(kind="memory", text="depth by profile class; measure by sand patch"),
        basis=Message(id="film.fill_profile", values={"csp": csp}),
    )


def texture_left_um(*, texture_um: X, filled_um: float) -> X:
    """Texture still open after coats below have filled part of it.

    A primer that runs into the valleys fills them by its dry volume; count that as
    ``filled_um``. A coat with film over the peaks leaves nothing open.

    Parameters
    ----------
    texture_um : float or array of any shape
        Mean texture depth of the bare surface. [µm], 0 or more
    filled_um : float
        Depth that earlier coats have filled. [µm], 0 or more

    Returns
    -------
    float or array of the same shape
        What is left to fill. [µm], not below 0

    Raises
    ------
    FilmError
        If a value is negative or not finite.

    Source
    ------
    Exact as a balance; that all of a primer sinks in is practice.

    Examples
    --------
    >>> texture_left_um(texture_um=127.0, filled_um=50.0)
    77.0
    """
    depth = not_below_zero(texture_um, "texture depth", "µm", "Enter a sand-patch depth.")
    filled = not_below_zero(filled_um, "depth filled", "µm", "Enter the dry film of the primer.")
    return back((depth - filled).clip(min=0.0), texture_um)


def open_depth_um(*, grain_um: float, sunk: float, hidden: float) -> float:
    """Room between grains from the film they sit in up to their tops.

    Equal spheres of diameter d, each sunk to a share of its height: above the film a
    grain shows a cap of height e = d (1 - sunk) and volume π e² (3r - e) / 3, and there
    are hidden / (π r²) of them in a unit of area.

    Parameters
    ----------
    grain_um : float
        Grain size. [µm], above 0
    sunk : float
        Share of the grain's height inside the film. [fraction], 0 to 1
    hidden : float
        Share of the deck that grains hide, seen from above. [fraction], 0 to 1

    Returns
    -------
    float
        Depth of liquid that would stand level with the tops. [µm]

    Raises
    ------
    FilmError
        If a value is out of its range.

    Source
    ------
    Exact for spheres (volume of a spherical cap).

    Examples
    --------
    >>> print(round(open_depth_um(grain_um=900.0, sunk=0.5, hidden=0.75)))
    225
    """
    grain = float(above_zero(grain_um, "grain size", "µm", "Enter the sieve sizes of the sand."))
    below = float(share(sunk, "sunk share", zero=True))
    seen = float(share(hidden, "hidden share", zero=True))
    radius, proud = grain / 2, grain * (1 - below)
    caps = seen / (math.pi * radius**2) * math.pi * proud**2 * (3 * radius - proud) / 3
    return proud - caps


def fill_over_sand_um(
    *, grain_mm: tuple[float, float] | None, method: str, rate_kg_per_m2: float | None = None
) -> Fill | None:
    """Likely fill of a coat laid over broadcast sand, or None where it cannot be said.

    To refusal, and where sand was covered and swept, grains stand side by side about
    half sunk; the next coat fills between them up to their tops (a coat that is meant to
    drape over the grains takes less). Seeded and back-rolled, grains stand apart: each
    holds the liquid it would hold in a full layer, and bare film between holds none; at
    the low end back-rolling has buried them all.

    Parameters
    ----------
    grain_mm : (float, float) or None
        Smallest and largest grain, as the sheet gives them. [mm]
    method : str
        "to-refusal", "covered-swept" or "seeded-backrolled".
    rate_kg_per_m2 : float, optional
        Sand as thrown; needed where it is seeded. [kg/m²]

    Returns
    -------
    Fill or None
        None if the grain size is missing, or the rate of a seeded coat.

    Raises
    ------
    FilmError
        If the method is not known or a value is out of its range.

    Source
    ------
    Modelled: equal spheres; how deep they sit is memory. A sand patch on the cured,
    swept coat replaces it.

    Examples
    --------
    >>> fill = fill_over_sand_um(grain_mm=(0.6, 1.18), method="to-refusal")
    >>> print(round(fill.low_um / 25.4), round(fill.mid_um / 25.4), round(fill.high_um / 25.4))
    4 8 15
    >>> fill_over_sand_um(grain_mm=None, method="to-refusal") is None
    True
    """
    if method not in METHODS:
        raise FilmError(f"'{method}' is not a way of sanding known here.",
                        do=f"Use {', '.join(METHODS)}.")  # fmt: skip
    if grain_mm is None or (method not in SWEPT_OR_REFUSED and rate_kg_per_m2 is None):
        return None
    small, large = (float(g) for g in above_zero(grain_mm, "grain size", "mm", "Check the sheet."))
    if small > large:
        raise FilmError(f"grain size {small:g} to {large:g} mm runs backwards.",
                        do="Give the smallest grain first.")  # fmt: skip
    middle = (small + large) / 2
    sizes = (small, middle, large)
    low, mid, high = (
        open_depth_um(grain_um=1000 * size, sunk=sunk, hidden=hidden)
        for size, sunk, hidden in zip(sizes, _SUNK, _HIDDEN, strict=True)
    )
    values: dict[str, float | str] = {"low_mm": small, "high_mm": large}
    name = "film.fill_refusal"
    if rate_kg_per_m2 is not None and method == "seeded-backrolled":
        part = min(1.0, cover_fraction(rate_kg_per_m2=rate_kg_per_m2, grain_m=middle / 1000))
        low, mid, high = 0.0, part * mid, part * high
        values["share_pct"] = round(100 * part)
        name = "film.fill_seeded"
    return Fill(
        low_um=low,
        mid_um=mid,
        high_um=high,
        source=Source(kind="modelled", text="equal spheres, half sunk; measure by sand patch"),
        basis=Message(id=name, values=values),
    )
