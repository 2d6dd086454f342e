"""What a rule is given, what it may say, and the usual limits of the trade."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Literal

from tackfree.because import Source
from tackfree.buildup.types import BuildUp, Coat, ProductSheet
from tackfree.deck.types import Duty, Exposure, Substrate
from tackfree.units import KG_PER_M2_PER_LB_PER_100_FT2, UM_PER_MIL, in_system
from tackfree.words import Message

Level = Literal["refuse", "warn", "note"]


def _mil(mil: float) -> float:
    return mil * UM_PER_MIL


def _lb(per_100_ft2: float) -> float:
    return per_100_ft2 * KG_PER_M2_PER_LB_PER_100_FT2


@dataclass(frozen=True, kw_only=True)
class Defaults:
    """Limits of the trade, editable; sheet and specification win where they speak.

    ``dry_min_um`` is the least total dry film by duty [µm]; ``sand_kg_per_m2`` the
    usual range by method; ``slope_non_flow`` the rise over run from which a levelling
    product runs; ``csp`` the usual profile classes under a membrane. ``won`` names the
    limits that a specification has replaced, each with our default as text.
    """

    dry_min_um: Mapping[Duty, float] = field(
        default_factory=lambda: {
            Duty.PEDESTRIAN: _mil(30),
            Duty.LIGHT: _mil(45),
            Duty.HEAVY: _mil(60),
            Duty.EXTRA_HEAVY: _mil(60),
        }
    )
    sand_kg_per_m2: Mapping[str, tuple[float, float]] = field(
        default_factory=lambda: {
            "seeded-backrolled": (_lb(4), _lb(20)),
            "covered-swept": (_lb(20), _lb(100)),
            "to-refusal": (_lb(40), _lb(200)),
        }
    )
    slope_non_flow: float = 0.04
    csp: tuple[int, int] = (3, 5)
    won: Mapping[str, str] = field(default_factory=dict)

    def basis(self, name: str, text: str) -> Source:
        """The ground of one limit: the specification where it speaks, else ours."""
        return (
            Source(kind="specification") if name in self.won else Source(kind="default", text=text)
        )


@dataclass(frozen=True, kw_only=True)
class Place:
    """Where a build-up is meant to go. ``slope`` is rise over run."""

    duty: Duty
    exposure: Exposure
    substrate: Substrate = field(default_factory=Substrate)
    slope: float = 0.0


@dataclass(frozen=True, kw_only=True)
class RuleResult:
    """What one rule has to say, and on what ground."""

    id: str
    level: Level
    message: Message
    basis: Source


@dataclass(frozen=True, kw_only=True)
class Case:
    build_up: BuildUp
    products: Mapping[str, ProductSheet]
    place: Place
    defaults: Defaults

    def sheets(self) -> Iterator[tuple[Coat, ProductSheet]]:
        """Coats whose product is known."""
        for coat in self.build_up.coats:
            if coat.product_id in self.products:
                yield coat, self.products[coat.product_id]


Said = tuple[Level, Mapping[str, object], Source]
SHEET = Source(kind="sheet")


def films(film_um: float, limit_um: float) -> dict[str, object]:
    return {
        "film_um": round(film_um),
        "limit_um": round(limit_um),
        "film_mil": round(in_system(film_um, "film", "us")[0], 1),
        "limit_mil": round(in_system(limit_um, "film", "us")[0], 1),
    }


def sand(rate_kg_per_m2: float) -> float:
    return round(in_system(rate_kg_per_m2, "areal_mass", "us")[0], 1)
