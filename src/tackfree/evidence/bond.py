"""Pull-off tests: mean and single strength, and where the pull broke."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from tackfree.because import Source
from tackfree.errors import InputError
from tackfree.words import Message

CONCRETE, GLUE = "concrete", "glue"
PLANES = (CONCRETE, "concrete-primer", "primer-base", "between-coats", "within-coat", GLUE)

_SPECIFIED = Source(kind="specification")


@dataclass(frozen=True, kw_only=True)
class BondRule:
    """Least mean and least single strength; None is not asked for. [Pa]"""

    mean_pa: float | None
    single_pa: float | None
    tests: int = 3
    source: Source = _SPECIFIED


# published: EN 1504-2, flexible systems with traffic, as it is quoted; check the edition
FLEXIBLE_TRAFFICKED = BondRule(
    mean_pa=1.5e6,
    single_pa=1.0e6,
    source=Source(kind="memory", text="EN 1504-2, flexible, trafficked: 1.5 (1.0) N/mm²"),
)


@dataclass(frozen=True, kw_only=True)
class Pull:
    """One pull. ``planes`` are shares of the broken face by plane; empty if not noted."""

    strength_pa: float
    planes: Mapping[str, float] = field(default_factory=dict)
    place: str = ""

    def __post_init__(self) -> None:
        if not (math.isfinite(self.strength_pa) and self.strength_pa >= 0):
            raise InputError(
                f"pull-off strength is {self.strength_pa:g} Pa; it must be 0 or more.",
                do="Read the gauge again.",
            )
        unknown = sorted(set(self.planes) - set(PLANES))
        if unknown or (self.planes and abs(sum(self.planes.values()) - 1) > 0.02):
            raise InputError(
                f"planes of failure are {dict(self.planes)}.",
                do=f"Give shares that add up to 1 of: {', '.join(PLANES)}.",
            )

    @property
    def worst(self) -> str | None:
        """The plane that took most of the face."""
        return max(sorted(self.planes), key=lambda k: self.planes[k]) if self.planes else None


@dataclass(frozen=True, kw_only=True)
class BondVerdict:
    """``holds`` is None where tests are missing or must be repeated."""

    holds: bool | None
    mean_pa: float | None
    counted: int
    messages: tuple[Message, ...]


def judge_bond(pulls: Sequence[Pull], rule: BondRule) -> BondVerdict:
    """Pull-offs of one area against mean and single rules.

    A pull that broke mostly in the glue below the limit tells nothing of the coating and
    is repeated; above the limit it tells "at least so much". A good mean never covers a
    single result that is too low.

    Parameters
    ----------
    pulls : sequence of Pull
    rule : BondRule

    Returns
    -------
    BondVerdict

    Source
    ------
    Exact arithmetic on the specification's numbers; the glue rule is practice.
    """
    said: list[Message] = []
    limit = max(rule.mean_pa or 0.0, rule.single_pa or 0.0)
    good = [p for p in pulls if not (p.worst == GLUE and p.strength_pa < limit)]
    if len(good) < len(pulls):
        said.append(Message(id="evidence.bond_repeat", values={"count": len(pulls) - len(good)}))
    low = [p for p in good if rule.single_pa is not None and p.strength_pa < rule.single_pa]
    for p in low:
        said.append(
            Message(
                id="evidence.bond_single",
                values={"strength_pa": p.strength_pa, "single_pa": rule.single_pa},
            )
        )
    for plane in sorted({p.worst for p in good if p.worst is not None} - {GLUE}):
        share = sum(p.worst == plane for p in good)
        said.append(
            Message(
                id=f"evidence.bond_plane_{plane.replace('-', '_')}",
                values={"count": share, "tests": len(good)},
            )
        )
    if any(not p.planes for p in good):
        said.append(Message(id="evidence.bond_plane_missing"))
    mean = math.fsum(p.strength_pa for p in good) / len(good) if good else None
    enough = len(good) >= rule.tests
    if not enough:
        said.append(
            Message(id="evidence.bond_few", values={"count": len(good), "wanted": rule.tests})
        )
    thin = mean is not None and rule.mean_pa is not None and mean < rule.mean_pa * (1 - 1e-12)
    if thin and enough:
        said.append(
            Message(id="evidence.bond_mean", values={"mean_pa": mean, "wanted_pa": rule.mean_pa})
        )
    failed = bool(low) or (thin and enough)
    return BondVerdict(
        holds=False if failed else (True if enough else None),
        mean_pa=mean,
        counted=len(good),
        messages=tuple(said),
    )
