"""The slab march in plain NumPy, one dense solve a step: slow, and easy to read."""

from __future__ import annotations

import numpy as np

from tackfree.climate.slab import STEFAN_BOLTZMANN, ZERO_C_K, SlabCase

KELVIN = ZERO_C_K


def convection(v: float) -> float:
    return 5.6 + 4.0 * v if v < 5 else 7.2 * v**0.78


def reference_surface_c(air, sky, sun, wind, case: SlabCase, *, start_c, steps, step_s=3600):
    """Surface at interval ends; same scheme, written from the balance of each node."""
    n = case.cells
    dx = case.thickness_m / n
    g = case.conductivity_w_mk / dx
    capacity = np.full(n + 1, case.heat_j_m3k * dx)
    capacity[[0, n]] /= 2
    conduction = np.zeros((n + 1, n + 1))
    for i in range(n):
        conduction[i, i] -= g
        conduction[i, i + 1] += g
        conduction[i + 1, i + 1] -= g
        conduction[i + 1, i] += g
    dt = step_s / steps
    t = np.full(n + 1, start_c + KELVIN)
    out = []
    for hour in range(len(air)):
        before = max(hour - 1, 0)
        for step in range(steps):
            w = (step + 0.5) / steps
            ta = (1 - w) * air[before] + w * air[hour] + KELVIN
            lw = (1 - w) * sky[before] + w * sky[hour]
            h0, h1 = (convection(case.wind_factor * wind[i]) for i in (before, hour))
            h = (1 - w) * h0 + w * h1
            es = case.emissivity * STEFAN_BOLTZMANN
            tb = {"air": ta, "interior": case.interior_c + KELVIN}.get(
                case.bottom, np.mean(air) + KELVIN
            )
            # dT/dt = A T + b, long-wave linearised about the step's start
            a = conduction.copy()
            a[0, 0] -= h + 4 * es * t[0] ** 3
            a[n, n] -= case.bottom_h_w_m2k
            b = np.zeros(n + 1)
            b[0] = case.absorptance * case.sun_factor * sun[hour] + h * ta
            b[0] += case.emissivity * case.sky_view * lw + (1 - case.sky_view) * es * ta**4
            b[0] += 3 * es * t[0] ** 4
            b[n] = case.bottom_h_w_m2k * tb
            left = np.diag(capacity / dt) - a / 2
            t = np.linalg.solve(left, (np.diag(capacity / dt) + a / 2) @ t + b)
        out.append(t[0] - KELVIN)
    return np.array(out)
