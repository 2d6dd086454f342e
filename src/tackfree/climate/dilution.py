"""Fresh air that thins solvent vapour in an enclosed deck.

Arithmetic for planning fans. It is no permission to work: an industrial hygienist
decides, and air that thins solvent does not make isocyanate safe.
"""

from __future__ import annotations

from tackfree.errors import InputError

# Molar volume of an ideal gas at 70 °F and one atmosphere.
MOLAR_M3 = 8.31446261815324 * (70 + 459.67) / 1.8 / 101_325.0
USUAL_K = 10.0  # ours: the careful end of the usual 3 to 10
DANGEROUS_SHARE = 0.25  # of the lower flammable limit; OSHA, 29 CFR 1910.107
CONFINED_SHARE = 0.10  # 29 CFR 1926.1202, hazardous atmosphere


def vapour_m3_s(*, evaporated_l_per_h: float, density_kg_per_l: float, molar_g: float) -> float:
    """Vapour that an evaporating solvent gives off, at 70 °F. [m³/s]

    Raises
    ------
    InputError
        If a figure is not above 0.
    """
    for name, value in (
        ("evaporation", evaporated_l_per_h), ("density", density_kg_per_l),
        ("molecular weight", molar_g),
    ):  # fmt: skip
        if not value > 0:
            raise InputError(f"{name} is {value:g}; it must be above 0.", do="See the sheet.")
    moles_s = evaporated_l_per_h * density_kg_per_l * 1000.0 / molar_g / 3600.0
    return moles_s * MOLAR_M3


def air_for_health_m3_s(vapour: float, *, limit_ppm: float, mixing_k: float = USUAL_K) -> float:
    """Fresh air that holds vapour at an exposure limit. [m³/s]

    Parameters
    ----------
    vapour : float
        From :func:`vapour_m3_s`.
    limit_ppm : float
        Exposure limit. [parts per million by volume]
    mixing_k : float
        Allowance for bad mixing, 3 to 10.

    Source
    ------
    Published: ACGIH, Industrial Ventilation, general ventilation:
    Q = 403e6 SG ER K / (MW C) in ft³/min and pints/min.
    """
    if not 0 < limit_ppm < 1e6:
        raise InputError(
            f"the limit is {limit_ppm:g} ppm; it must be above 0.",
            do="Take it from section 8 of the safety data sheet.",
        )
    if not 1 <= mixing_k <= 20:
        raise InputError(
            f"the mixing factor is {mixing_k:g}; it lies between 1 and 20.", do="Usual: 3 to 10."
        )
    return vapour * 1e6 / limit_ppm * mixing_k


def air_for_fire_m3_s(vapour: float, *, lfl: float, share: float = DANGEROUS_SHARE) -> float:
    """Fresh air that holds vapour at a share of its lower flammable limit. [m³/s]

    Source
    ------
    Published: 29 CFR 1910.94(c)(6)(ii) (memory): 4 (100 - LEL) / LEL volumes of air
    for a volume of vapour at a quarter of the limit; written for spray booths.
    """
    if not 0 < lfl < 0.5:
        raise InputError(
            f"the lower flammable limit is {100 * lfl:g} %.",
            do="Take it from section 9 of the safety data sheet, as 1.1%.",
        )
    return vapour * (1.0 - lfl) / lfl / share
