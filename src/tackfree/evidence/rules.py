"""Counting rules: what a contract or a standard makes of readings, chance left aside.

They are agreements, not statistics, and stand before any probability. The numbers are
data: a contract states its own.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from tackfree.because import Source
from tackfree.errors import InputError
from tackfree.words import Message

FT2 = 0.09290304
DUST = 1e-9  # of a limit; what converting units may leave

_USUAL = Source(
    kind="practice", text="average as specified, none under 80 %; the specification wins"
)


@dataclass(frozen=True, kw_only=True)
class ContractRule:
    """Average at least the specified film, no reading under a share of it, enough readings.

    ``share`` of the readings must have the specified film (None: not asked for). ``area``
    is what a verdict asks of the floor film with ``sure`` chance; ``spots`` names a
    standard's counting rule that is told beside it, and ``most`` the most film it
    allows, as a multiple of the specified.
    """

    floor: float = 0.8
    m2_per_reading: float = 250 * FT2
    share: float | None = None
    area: float = 0.9
    sure: float = 0.95
    spots: str | None = None
    most: float = 1.5
    source: Source = _USUAL

    def __post_init__(self) -> None:
        for name, value in (("floor", self.floor), ("area", self.area), ("sure", self.sure)):
            if not 0 < value <= 1 or (name == "sure" and value == 1):
                raise InputError(
                    f"{name} of the film rule is {value:g}; it must be a fraction.",
                    do="For 80 % write 0.8.",
                )
        if not 0 < self.m2_per_reading < math.inf:
            raise InputError(
                f"area of one reading is {self.m2_per_reading:g} m²; it must be above 0.",
                do="Enter the area that asks for one reading.",
            )


@dataclass(frozen=True, kw_only=True)
class RuleResult:
    """One rule and whether it holds; None where nothing was read."""

    rule: str  # average, floor, count
    holds: bool | None
    found: float | None
    wanted: float
    message: Message


def contract_results(
    values_um: Sequence[float], *, specified_um: float, area_m2: float, rule: ContractRule
) -> tuple[RuleResult, ...]:
    """Average, floor and number of readings of one patch, by the contract.

    Parameters
    ----------
    values_um : sequence of float
        Middles of the readings; for one open at an end its closed end. [µm]
    specified_um : float
        Film over the peaks as specified. [µm]
    area_m2 : float
        Of the patch. [m²]
    rule : ContractRule

    Returns
    -------
    tuple of RuleResult
        In the order average, floor, count.

    Source
    ------
    Exact; the numbers are the contract's.
    """
    n = len(values_um)
    wanted = max(1, math.ceil(area_m2 / rule.m2_per_reading - 1e-9))
    count = RuleResult(
        rule="count",
        holds=n >= wanted,
        found=float(n),
        wanted=float(wanted),
        message=Message(
            id=f"evidence.rule_count_{'ok' if n >= wanted else 'low'}",
            values={"count": n, "wanted": wanted},
        ),
    )
    floor_um = rule.floor * specified_um
    if not n:
        none = Message(id="evidence.rule_no_readings")
        return (
            RuleResult(rule="average", holds=None, found=None, wanted=specified_um, message=none),
            RuleResult(rule="floor", holds=None, found=None, wanted=floor_um, message=none),
            count,
        )
    mean = math.fsum(values_um) / n
    under = sum(v < floor_um * (1 - DUST) for v in values_um)
    enough = mean >= specified_um * (1 - DUST)
    return (
        RuleResult(
            rule="average",
            holds=enough,
            found=mean,
            wanted=specified_um,
            message=Message(
                id=f"evidence.rule_average_{'ok' if enough else 'low'}",
                values={"mean_um": mean, "specified_um": specified_um, "count": n},
            ),
        ),
        RuleResult(
            rule="floor",
            holds=not under,
            found=min(values_um),
            wanted=floor_um,
            message=Message(
                id=f"evidence.rule_floor_{'low' if under else 'ok'}",
                values={
                    "under": under,
                    "count": n,
                    "floor_um": floor_um,
                    "floor_pct": round(100 * rule.floor),
                },
            ),
        ),
        count,
    )


@dataclass(frozen=True, kw_only=True)
class SpotRule:
    """How a standard samples dry film and what it lets a spot be.

    A spot is the mean of ``readings_per_spot`` readings close together; an area is
    ``spots_per_area`` spots in about 100 ft².
    """

    id: str
    spot_floor: float  # of the specified minimum
    spot_ceiling: float  # of the specified maximum
    spots_per_area: int
    readings_per_spot: int
    every_area: bool  # each 100 ft² is measured, however large the deck
    sanded: bool  # whether it may be used on a film with sand in it
    source: Source


PAINT_ON_METAL = SpotRule(
    id="SSPC-PA-2-level-3",
    spot_floor=0.8,
    spot_ceiling=1.2,
    spots_per_area=5,
    readings_per_spot=3,
    every_area=False,
    sanded=False,
    source=Source(kind="published", text="SSPC-PA 2 as taught in public; read the standard"),
)
ULTRASONIC_ON_CONCRETE = SpotRule(
    id="SSPC-PA-9-level-3",
    spot_floor=0.75,
    spot_ceiling=1.25,
    spots_per_area=5,
    readings_per_spot=3,
    every_area=True,
    sanded=False,
    source=Source(kind="published", text="SSPC-PA 9 as taught in public; read the standard"),
)
SPOT_RULES = {r.id: r for r in (PAINT_ON_METAL, ULTRASONIC_ON_CONCRETE)}


def areas_to_measure(area_m2: float, rule: SpotRule = PAINT_ON_METAL) -> int:
    """How many areas of about 100 ft² to measure.

    Parameters
    ----------
    area_m2 : float
        Coated area. [m²], above 0
    rule : SpotRule

    Returns
    -------
    int

    Raises
    ------
    InputError
        If the area is not above 0.

    Source
    ------
    Published: SSPC-PA 2: under 300 ft² every 100 ft² or part; to 1,000 ft² three; then
    one more for each further 1,000 ft² or part.

    Examples
    --------
    >>> areas_to_measure(12_500 * 0.09290304)
    15
    """
    if not area_m2 > 0:
        raise InputError(f"the area is {area_m2:g} m²; it must be above 0.", do="Check it.")
    ft2 = area_m2 / FT2
    if ft2 < 300 or rule.every_area:
        return math.ceil(ft2 / 100 - 1e-9)
    return 3 if ft2 <= 1000 + 1e-6 else 3 + math.ceil((ft2 - 1000) / 1000 - 1e-9)


@dataclass(frozen=True, kw_only=True)
class AreaResult:
    """One area of spots: ``spots`` tells which hold, ``average`` whether their mean does."""

    spots: tuple[bool, ...]
    average: bool

    @property
    def holds(self) -> bool:
        return self.average and all(self.spots)


def area_result(
    spot_um: Sequence[float], *, low_um: float, high_um: float, rule: SpotRule
) -> AreaResult:
    """Spots and their mean against a specified range; single readings do not matter. [µm]"""
    if len(spot_um) < rule.spots_per_area:
        raise InputError(
            f"{len(spot_um)} spots; {rule.id} wants {rule.spots_per_area} in an area.",
            do="Measure the missing spots.",
        )
    slack = 1e-9 * high_um
    floor, ceiling = rule.spot_floor * low_um - slack, rule.spot_ceiling * high_um + slack
    mean = math.fsum(spot_um) / len(spot_um)
    return AreaResult(
        spots=tuple(floor <= v <= ceiling for v in spot_um),
        average=low_um - slack <= mean <= high_um + slack,
    )
