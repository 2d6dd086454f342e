"""Draws of the smooth part of a film over a grid.

A small grid is drawn from the factor of its own covariance; a large one by the transform of
a larger circulant grid, padded until its clipped share is nil. A narrow section would need a
pad many times its own width, so its own factor is the cheaper way there, and exact.

Source
------
Published: Dietrich & Newsam 1997, *SIAM J. Sci. Comput.* 18, 1088.
"""

from __future__ import annotations

import numpy as np
from scipy import fft
from scipy.linalg import cholesky

from tackfree.evidence.kernel import FloatArray, Tables

MOST_FACTORED = 700  # nodes of a grid whose own covariance is factored
MOST_PADDED = 4_000_000  # nodes of the grid that draws are made on
JITTER = 1e-9  # of the variance, so that the factor of a very smooth film exists


class SmoothDraws:
    """Draws over one grid, made ready once."""

    def __init__(self, t: Tables) -> None:
        self.shape = t.shape
        self.factor = _factor(t) if t.shape[0] * t.shape[1] <= MOST_FACTORED else None
        self.root = None if self.factor is not None else _root(t)

    def some(self, count: int, rng: np.random.Generator) -> FloatArray:
        """``count`` draws: (count, ny, nx). [film]"""
        if self.factor is not None:
            flat = rng.standard_normal((count, len(self.factor))) @ self.factor
            return np.asarray(flat.reshape(count, *self.shape))
        assert self.root is not None
        # two draws come out of each transform: its real and its imaginary part
        half = (count + 1) // 2
        noise = rng.standard_normal((half, *self.root.shape, 2), dtype=np.float32)
        both = fft.ifft2(self.root * noise.view(np.complex64)[..., 0])
        both = both[:, : self.shape[0], : self.shape[1]]
        return np.concatenate([both.real, both.imag])[:count].astype(float)


def _factor(t: Tables) -> FloatArray:
    """Upper factor of the covariance of all nodes."""
    rows, cols = np.divmod(np.arange(t.shape[0] * t.shape[1]), t.shape[1])
    far = np.hypot(rows[:, None] - rows, cols[:, None] - cols) * t.step
    cov = t.at(far)
    cov[np.diag_indices_from(cov)] *= 1 + JITTER
    return np.asarray(cholesky(cov, overwrite_a=True, check_finite=False))


def _root(t: Tables) -> FloatArray:
    """Square root of the eigenvalues of a circulant grid around this one."""
    for pad in (2, 4, 6, 8, 12, 16, 24, 32):
        size = [fft.next_fast_len(n + int(np.ceil(pad * t.ell / t.step))) for n in t.shape]
        if pad > 2 and size[0] * size[1] > MOST_PADDED:
            break
        dy, dx = (np.minimum(np.arange(n), n - np.arange(n)) for n in size)
        value = fft.fft2(t.at(np.hypot(dy[:, None], dx[None, :]) * t.step)).real
        if -value[value < 0].sum() < 1e-6 * np.abs(value).sum():
            break
    return np.asarray(np.sqrt(np.maximum(value, 0) * value.size).astype(np.float32))
