"""A least film as the 5 % quantile of readings."""

from __future__ import annotations

import numpy as np
import pytest

from tackfree.film.checks import FilmError
from tackfree.film.least import aim_um


def test_without_scatter_the_least_is_the_aim() -> None:
    assert aim_um(2000.0, scatter=0.0) == 2000.0


def test_one_reading_in_twenty_is_lower() -> None:
    # exact: 1.644854 is the 95 % point of the normal; 2000 / (1 - 0.15 × 1.644854)
    aim = aim_um(2000.0, scatter=0.15)
    assert aim == pytest.approx(2000 / (1 - 0.15 * 1.6448536))
    read = np.random.default_rng(1).normal(aim, 0.15 * aim, 200_000)
    assert np.mean(read < 2000.0) == pytest.approx(0.05, abs=0.002)


@pytest.mark.parametrize(
    ("least", "scatter"), [(0.0, 0.1), (-1.0, 0.1), (2000.0, 0.6), (2000.0, -0.1)]
)
def test_no_such_film(least, scatter) -> None:
    with pytest.raises(FilmError):
        aim_um(least, scatter=scatter)
