"""The kinds of quantity, and what each is printed in.

A kind fixes the SI unit of the number inside the program and the unit people see
in each system. Adding a kind is one row here and its units in ``read``.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from tackfree.errors import InputError
from tackfree.units import constants as k

Kind = Literal[
    "length", "film", "area", "volume", "coverage", "temperature", "temperature_step",
    "areal_mass", "mass", "time", "speed", "density", "area_rate", "length_rate",
    "fraction", "pressure", "slope", "length_per_volume",
]  # fmt: skip
System = Literal["us", "si"]


class UnitError(InputError):
    """Text that cannot be read as one quantity of the kind wanted."""


@dataclass(frozen=True, kw_only=True)
class Printed:
    """One printed unit: SI value = number × ``factor`` + ``offset``."""

    symbol: str
    key: str  # the unit inside a JSON key
    factor: float
    digits: int
    offset: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Trait:
    """What is fixed for a kind. ``examples`` are units a person might have meant."""

    noun: str
    si: Printed
    us: Printed
    examples: tuple[str, ...]
    signed: bool = False


def _row(
    noun: str,
    si: tuple[str, str, float, int],
    us: tuple[str, str, float, int],
    examples: str,
    *,
    signed: bool = False,
    us_offset: float = 0.0,
) -> Trait:
    return Trait(
        noun=noun,
        si=Printed(symbol=si[0], key=si[1], factor=si[2], digits=si[3]),
        us=Printed(symbol=us[0], key=us[1], factor=us[2], digits=us[3], offset=us_offset),
        examples=tuple(examples.split(", ")),
        signed=signed,
    )


# A step of temperature keeps a tenth: it is held against limits of a few degrees.
KINDS: dict[Kind, Trait] = {
    "length": _row("a length", ("m", "m", 1, 2), ("ft", "ft", k.M_PER_FT, 2),
                   "ft, in, m, mm", signed=True),
    "film": _row("a film thickness", ("µm", "um", 1, 0), ("mil", "mil", k.UM_PER_MIL, 1),
                 "mil, µm, mm"),
    "area": _row("an area", ("m²", "m2", 1, 1), ("ft²", "ft2", k.M2_PER_FT2, 0), "ft², m²"),
    "volume": _row("a volume", ("L", "l", 1, 1), ("gal", "gal", k.L_PER_GAL, 1),
                   "gal, L, fl oz"),
    "coverage": _row("a coverage", ("m²/L", "m2_per_l", 1, 2),
                     ("ft²/gal", "ft2_per_gal", k.M2_PER_L_PER_FT2_PER_GAL, 0),
                     "ft²/gal, m²/L"),
    "temperature": _row("a temperature", ("°C", "c", 1, 1), ("°F", "f", k.K_PER_F, 0),
                        "°F, °C", signed=True, us_offset=-32 * k.K_PER_F),
    "temperature_step": _row("a difference of temperature", ("K", "k", 1, 1),
                             ("°F", "f", k.K_PER_F, 1), "°F, K", signed=True),
    "areal_mass": _row("a mass over an area", ("kg/m²", "kg_per_m2", 1, 2),
                       ("lb/100 ft²", "lb_per_100_ft2", k.KG_PER_M2_PER_LB_PER_100_FT2, 1),
                       "lb/100 ft², kg/m², g/m²"),
    "mass": _row("a mass", ("kg", "kg", 1, 1), ("lb", "lb", k.KG_PER_LB, 0), "lb, kg"),
    "time": _row("a length of time", ("h", "h", 1, 1), ("h", "h", 1, 1), "min, h, d"),
    "speed": _row("a speed", ("m/s", "m_per_s", 1, 1), ("mph", "mph", k.M_S_PER_MPH, 0),
                  "mph, m/s, km/h"),
    "density": _row("a density", ("kg/L", "kg_per_l", 1, 2),
                    ("lb/gal", "lb_per_gal", k.KG_PER_L_PER_LB_PER_GAL, 2), "lb/gal, kg/L"),
    "area_rate": _row("an area in an hour", ("m²/h", "m2_per_h", 1, 0),
                      ("ft²/h", "ft2_per_h", k.M2_PER_FT2, 0), "ft²/h, m²/h"),
    "length_rate": _row("a length in an hour", ("m/h", "m_per_h", 1, 1),
                        ("ft/h", "ft_per_h", k.M_PER_FT, 0), "ft/h, m/h"),
    "fraction": _row("a share", ("%", "pct", 0.01, 1), ("%", "pct", 0.01, 1), "%"),
    "pressure": _row("a stress or pressure", ("N/mm²", "n_per_mm2", 1e6, 2),
                     ("psi", "psi", k.PA_PER_PSI, 0), "psi, N/mm²"),
    "length_per_volume": _row("a length from a volume", ("m/L", "m_per_l", 1, 2),
                              ("ft/gal", "ft_per_gal", k.M_PER_FT / k.L_PER_GAL, 1),
                              "ft/gal, m/L"),
    "slope": _row("a slope", ("%", "pct", 0.01, 2), ("%", "pct", 0.01, 2), "%, °, in/ft",
                  signed=True),
}  # fmt: skip


def printed(kind: Kind, system: System) -> Printed:
    """The unit a kind is printed in."""
    trait = KINDS[kind]
    return trait.us if system == "us" else trait.si


def in_system(value: float, kind: Kind, system: System) -> tuple[float, str]:
    """A value of the program as a number and its symbol in one system, not rounded.

    >>> in_system(25.4, "film", "us")
    (1.0, 'mil')
    """
    if not math.isfinite(value):
        raise UnitError(f"{value} is not a number that can be printed.", do="Give a finite value.")
    unit = printed(kind, system)
    return (value - unit.offset) / unit.factor, unit.symbol


def key_of(name: str, kind: Kind, system: System) -> str:
    """The JSON key of a quantity: its name with its unit.

    >>> key_of("wft", "film", "us")
    'wft_mil'
    """
    return f"{name}_{printed(kind, system).key}"
