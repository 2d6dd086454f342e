"""Units at the one door: exact constants, :func:`parse` in, :func:`show` out.

Inside, everything is SI with the unit in the name. Text becomes SI here and
nowhere else, and SI becomes text here and nowhere else.
"""

from tackfree.units.constants import (
    FT2_MIL_PER_GAL,
    IN3_PER_GAL,
    K_PER_F,
    KG_PER_L_PER_LB_PER_GAL,
    KG_PER_LB,
    KG_PER_M2_PER_LB_PER_100_FT2,
    L_PER_FL_OZ,
    L_PER_FT3,
    L_PER_GAL,
    L_PER_IN3,
    M2_PER_FT2,
    M2_PER_L_PER_FT2_PER_GAL,
    M2_PER_YD2,
    M_PER_FT,
    M_PER_IN,
    M_S_PER_MPH,
    PA_PER_PSI,
    UM_PER_L_PER_M2,
    UM_PER_MIL,
    c_from_f,
    f_from_c,
    m2_per_l,
)
from tackfree.units.kinds import KINDS, Kind, System, UnitError, in_system, key_of
from tackfree.units.read import parse
from tackfree.units.show import feet_and_inches, show

__all__ = [
    "FT2_MIL_PER_GAL",
    "IN3_PER_GAL",
    "KG_PER_LB",
    "KG_PER_L_PER_LB_PER_GAL",
    "KG_PER_M2_PER_LB_PER_100_FT2",
    "KINDS",
    "K_PER_F",
    "L_PER_FL_OZ",
    "L_PER_FT3",
    "L_PER_GAL",
    "L_PER_IN3",
    "M2_PER_FT2",
    "M2_PER_L_PER_FT2_PER_GAL",
    "M2_PER_YD2",
    "M_PER_FT",
    "M_PER_IN",
    "M_S_PER_MPH",
    "PA_PER_PSI",
    "UM_PER_L_PER_M2",
    "UM_PER_MIL",
    "Kind",
    "System",
    "UnitError",
    "c_from_f",
    "f_from_c",
    "feet_and_inches",
    "in_system",
    "key_of",
    "m2_per_l",
    "parse",
    "show",
]
