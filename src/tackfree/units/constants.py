"""Exact constants, all built from the inch, the pound and the 231 in³ gallon.

Source
------
Published: NIST Handbook 44, Appendix C (inch 25.4 mm, pound 0.45359237 kg, US
gallon 231 in³, all exact); standard gravity 9.80665 m/s² for pressures.
"""

from __future__ import annotations

M_PER_IN = 0.0254
M_PER_FT = 0.3048
UM_PER_MIL = 25.4
M2_PER_FT2 = 0.09290304
M2_PER_YD2 = 0.83612736
IN3_PER_GAL = 231
L_PER_IN3 = 0.016387064
L_PER_GAL = 3.785411784
L_PER_FL_OZ = L_PER_GAL / 128
L_PER_FT3 = 28.316846592
KG_PER_LB = 0.45359237
K_PER_F = 5 / 9
M_S_PER_MPH = 0.44704
PA_PER_PSI = KG_PER_LB * 9.80665 / M_PER_IN**2

UM_PER_L_PER_M2 = 1000.0  # a litre on a square metre stands a millimetre deep
FT2_MIL_PER_GAL = IN3_PER_GAL * 1000 / 144  # 1604.17: a gallon spread one mil thick
M2_PER_L_PER_FT2_PER_GAL = M2_PER_FT2 / L_PER_GAL
KG_PER_M2_PER_LB_PER_100_FT2 = KG_PER_LB / (100 * M2_PER_FT2)
KG_PER_L_PER_LB_PER_GAL = KG_PER_LB / L_PER_GAL


def m2_per_l(*, ft2_per_gal: float) -> float:
    """Coverage in SI from the trade's square feet per gallon.

    >>> round(m2_per_l(ft2_per_gal=60), 4)
    1.4725
    """
    return ft2_per_gal * M2_PER_L_PER_FT2_PER_GAL


def c_from_f(temp_f: float) -> float:
    """Celsius from Fahrenheit.

    >>> c_from_f(50)
    10.0
    """
    return (temp_f - 32) * K_PER_F


def f_from_c(temp_c: float) -> float:
    """Fahrenheit from Celsius.

    >>> f_from_c(10)
    50.0
    """
    return temp_c / K_PER_F + 32
