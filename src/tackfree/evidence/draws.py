"""Draws of the smooth part of a film over a grid, by the transform of a larger circulant one.

Source
------
Published: Dietrich & Newsam 1997, *SIAM J. Sci. Comput.* 18, 1088.
"""

from __future__ import annotations

import numpy as np
from scipy import fft

from tackfree.evidence.kernel import FloatArray, Tables

MOST_PADDED = 4_000_000  # nodes of the grid that draws are made on


class SmoothDraws:
    """Draws of the smooth part: a circulant grid, padded until its clipped share is nil."""

    def __init__(self, t: Tables) -> None:
        self.shape = t.shape
        for pad in (2, 4, 6, 8, 12, 16, 24, 32):
            size = [fft.next_fast_len(n + int(np.ceil(pad * t.ell / t.step))) for n in t.shape]
            if pad > 2 and size[0] * size[1] > MOST_PADDED:
                break
            dy, dx = (np.minimum(np.arange(n), n - np.arange(n)) for n in size)
            value = fft.fft2(t.at(np.hypot(dy[:, None], dx[None, :]) * t.step)).real
            if -value[value < 0].sum() < 1e-6 * np.abs(value).sum():
                break
        self.root = np.sqrt(np.maximum(value, 0) * value.size).astype(np.float32)

    def some(self, count: int, rng: np.random.Generator) -> FloatArray:
        """Two draws come out of each transform: its real and its imaginary part."""
        half = (count + 1) // 2
        noise = rng.standard_normal((half, *self.root.shape, 2), dtype=np.float32)
        both = fft.ifft2(self.root * noise.view(np.complex64)[..., 0])
        both = both[:, : self.shape[0], : self.shape[1]]
        return np.concatenate([both.real, both.imag])[:count].astype(float)
