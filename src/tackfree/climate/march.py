"""The time march of many slabs side by side, compiled: what :mod:`tackfree.climate.slab` runs.

A lane is one slab under one weather; 64 lanes make a block, whatever mixture of slabs
and weathers they are.
"""

from __future__ import annotations

import numpy as np
from numba import njit

STEFAN_BOLTZMANN = 5.670374419e-8  # W/(m² K⁴), CODATA 2018
ZERO_C_K = 273.15
BLOCK = 64
MOST_CELLS = 255
FLUSH_H = 64

# One workspace of rows of 64 cases, addressed by unsigned constants: the compiler then
# sees that rows never overlap and runs the loops over cases in SIMD.
_U = np.uint64
_ROW = _U(BLOCK)
_ROOM = MOST_CELLS + 1
_T, _P, _OWN, _MUL, _WEIGHT = (_U(i * _ROOM * BLOCK) for i in range(5))
(_G, _C, _GAIN, _E, _VIEW, _SHELTER, _OUTDOORS, _BELOW, _MEAN, _LEAD) = (
    _U((5 * _ROOM + i) * BLOCK) for i in range(10)
)
_AIR0, _AIR1, _SKY0, _SKY1, _SUN, _H0, _H1 = (_U((5 * _ROOM + 10 + i) * BLOCK) for i in range(7))
_SIZE = (5 * _ROOM + 17) * BLOCK


@njit(cache=True, error_model="numpy")
def march(forcing, table, weights, cells, dt, steps):  # type: ignore[no-untyped-def]  # pragma: no cover
    """The time march, cases in blocks of 64 whose inner loops run in SIMD.

    Each step eliminates from the underside up: all its multipliers are constants
    of the case, only the surface row changes with time. Each lane reads the weather
    that its row of the table names. A last block that is not full repeats its last
    case and throws the copies away.
    """
    count, hours = table.shape[0], forcing.shape[1]
    surface = np.empty((count, hours))
    top = np.empty((count, hours))
    a = np.empty(_SIZE)
    held = np.empty((2, FLUSH_H, BLOCK))
    lane = np.empty(BLOCK, np.uint64)
    last = _U(cells) * _ROW
    for begin in range(0, count, BLOCK):
        width = min(BLOCK, count - begin)
        _load(a, lane, table, weights, cells, begin, width, dt)
        _weather(a, lane, forcing, 0)
        for hour in range(hours):
            for k in range(_ROW):
                a[_AIR0 + k] = a[_AIR1 + k]
                a[_SKY0 + k] = a[_SKY1 + k]
                a[_H0 + k] = a[_H1 + k]
            _weather(a, lane, forcing, hour)
            for step in range(steps):
                w = (step + 0.5) / steps
                for k in range(_ROW):
                    ta = (1 - w) * a[_AIR0 + k] + w * a[_AIR1 + k]
                    rest = a[_OUTDOORS + k] * ta + a[_BELOW + k]
                    rest += a[_OWN + last + k] * a[_T + last + k]
                    rest += a[_MUL + last + k] * a[_T + last - _ROW + k]
                    a[_P + last + k] = rest
                for i in range(cells - 1, 0, -1):
                    r = _U(i) * _ROW
                    for k in range(_ROW):
                        near = a[_T + r - _ROW + k] + a[_T + r + _ROW + k] + a[_P + r + _ROW + k]
                        a[_P + r + k] = a[_OWN + r + k] * a[_T + r + k] + a[_MUL + r + k] * near
                for k in range(_ROW):
                    h = (1 - w) * a[_H0 + k] + w * a[_H1 + k]
                    ta = (1 - w) * a[_AIR0 + k] + w * a[_AIR1 + k]
                    lw = (1 - w) * a[_SKY0 + k] + w * a[_SKY1 + k]
                    t0 = a[_T + k]
                    cube = t0 * t0 * t0
                    hr = 4.0 * a[_E + k] * cube
                    gained = a[_GAIN + k] * a[_SUN + k] + h * (ta - 0.5 * t0)
                    ambient = a[_VIEW + k] * lw + (1 - a[_VIEW + k]) * (ta * ta) * (ta * ta)
                    gained += a[_E + k] * (ambient - cube * t0) + 0.5 * hr * t0
                    rest = 0.5 * a[_C + k] * t0 + a[_G + k] * (a[_T + _ROW + k] - t0) + gained
                    lead = a[_LEAD + k] + 0.5 * (hr + h)
                    a[_T + k] = (rest + a[_G + k] * a[_P + _ROW + k]) / lead
                for i in range(1, cells + 1):
                    r = _U(i) * _ROW
                    for k in range(_ROW):
                        a[_T + r + k] = a[_P + r + k] + a[_MUL + r + k] * a[_T + r - _ROW + k]
            for k in range(_ROW):
                a[_MEAN + k] = 0.0
            for i in range(cells + 1):
                r = _U(i) * _ROW
                for k in range(_ROW):
                    a[_MEAN + k] += a[_WEIGHT + r + k] * a[_T + r + k]
            row = hour % FLUSH_H
            for k in range(BLOCK):
                held[0, row, k] = a[_T + _U(k)] - ZERO_C_K
                held[1, row, k] = a[_MEAN + _U(k)] - ZERO_C_K
            if row == FLUSH_H - 1 or hour == hours - 1:  # few long writes, not many short
                for k in range(width):
                    for h in range(row + 1):
                        surface[begin + k, hour - row + h] = held[0, h, k]
                        top[begin + k, hour - row + h] = held[1, h, k]
    return surface, top


@njit(cache=True, error_model="numpy")
def _weather(a, lane, forcing, hour):  # type: ignore[no-untyped-def]  # pragma: no cover
    """The hour's weather into the workspace, each lane from its own series."""
    for k in range(_ROW):
        j = lane[k]
        a[_AIR1 + k] = forcing[0, hour, j] + ZERO_C_K
        a[_SKY1 + k] = forcing[1, hour, j] / STEFAN_BOLTZMANN
        a[_SUN + k] = forcing[2, hour, j]
        a[_H1 + k] = _convection(a[_SHELTER + k] * forcing[3, hour, j])


@njit(cache=True, error_model="numpy")
def _load(a, lane, table, weights, cells, begin, width, dt):  # type: ignore[no-untyped-def]  # pragma: no cover
    """A block's constants and its first temperatures into the workspace.

    ``_G`` holds half the conductance: Crank-Nicolson takes half of each flow. A node's
    eliminated value is ``_OWN`` of its own temperature and ``_MUL`` of its neighbours';
    for the underside ``_OUTDOORS`` and ``_BELOW`` add the air or what lies below.
    """
    last = _U(cells) * _ROW
    for k in range(_ROW):
        j = begin + min(np.int64(k), width - 1)
        half_g, heat, hb = 0.5 * table[j, 0], table[j, 1] / dt, table[j, 6]
        a[_G + k] = half_g
        a[_C + k] = heat
        a[_GAIN + k] = table[j, 2]
        a[_E + k] = table[j, 3] * STEFAN_BOLTZMANN
        a[_VIEW + k] = table[j, 4]
        a[_SHELTER + k] = table[j, 5]
        share = 1.0 / (0.5 * heat + half_g + 0.5 * hb)
        a[_OUTDOORS + k] = share * hb * table[j, 7]
        a[_BELOW + k] = share * hb * (1.0 - table[j, 7]) * table[j, 8]
        a[_OWN + last + k] = share * (0.5 * heat - half_g - 0.5 * hb)
        a[_MUL + last + k] = share * half_g
        for i in range(cells - 1, 0, -1):
            r = _U(i) * _ROW + k
            share = 1.0 / (heat + 2.0 * half_g - half_g * a[_MUL + r + _ROW])
            a[_OWN + r] = share * (heat - 2.0 * half_g)
            a[_MUL + r] = share * half_g
        a[_LEAD + k] = 0.5 * heat + half_g - half_g * a[_MUL + _ROW + k]
        lane[k] = _U(table[j, 10])
        for i in range(cells + 1):
            a[_T + _U(i) * _ROW + k] = table[j, 9]
            a[_WEIGHT + _U(i) * _ROW + k] = weights[i, j]


@njit(cache=True, error_model="numpy")
def _convection(v):  # type: ignore[no-untyped-def]  # pragma: no cover
    """W/(m² K) from the wind at the deck in m/s; the pair of NISTIR 6551."""
    return 5.6 + 4.0 * v if v < 5.0 else 7.2 * v**0.78
