"""What every function of this room asks of its numbers."""

from __future__ import annotations

from typing import Any, TypeVar, cast

import numpy as np
from numpy.typing import NDArray

from tackfree.errors import InputError

FloatArray = NDArray[np.float64]
X = TypeVar("X", float, FloatArray)


class FilmError(InputError):
    """A number that no film, sand or joint can have."""


class CoverageError(FilmError):
    """A coverage that spreads nothing, or without end."""


def above_zero(
    values: Any, what: str, unit: str, do: str, error: type[FilmError] = FilmError
) -> FloatArray:
    """The values as an array, refused unless each is finite and above 0."""
    return _held(values, what, unit, do, error, zero=False)


def not_below_zero(values: Any, what: str, unit: str, do: str) -> FloatArray:
    """The values as an array, refused unless each is finite and at least 0."""
    return _held(values, what, unit, do, FilmError, zero=True)


def _held(
    values: Any, what: str, unit: str, do: str, error: type[FilmError], *, zero: bool
) -> FloatArray:
    array = np.asarray(values, dtype=float)
    bad = array[~(np.isfinite(array) & ((array >= 0) if zero else (array > 0)))]
    if bad.size:
        wanted = "0 or more" if zero else "above 0"
        told = f"{bad.flat[0]:g} {unit}".strip()
        raise error(f"{what} is {told}; it must be {wanted}.", do=do)
    return array


def share(values: Any, what: str, *, zero: bool = False) -> FloatArray:
    """The values as an array, refused unless each is a fraction up to 1."""
    array = np.asarray(values, dtype=float)
    good = np.isfinite(array) & (array <= 1) & ((array >= 0) if zero else (array > 0))
    bad = array[~good]
    if bad.size:
        span = "from 0 to 1" if zero else "above 0 and at most 1"
        raise FilmError(
            f"{what} is {bad.flat[0]:g}; a fraction {span} is wanted.", do="For 62 % give 0.62."
        )
    return array


def back(array: FloatArray, like: X) -> X:
    """A plain float where a scalar came out, the array otherwise; typed as ``like``."""
    return cast(X, float(array) if np.ndim(array) == 0 else array)
