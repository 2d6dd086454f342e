"""The frame of a figure over time: temperatures up, the hours of a day or some days along.

The day strip and the strip chart stand in it; each brings its own rows.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

from tackfree.sheets import look
from tackfree.sheets.svg import Pen, line_d

Points = list[tuple[float, float]]


class Timed(Protocol):
    """What a frame must know of its figure: from and to [Unix s], and the unit system."""

    @property
    def from_utc_s(self) -> float: ...
    @property
    def to_utc_s(self) -> float: ...
    @property
    def units(self) -> str: ...


class TimeFrame:
    """Places on the page. ``low``, ``high`` and ``step`` are in the unit shown."""

    left: float
    right: float
    y_curve: float
    h_curve: float
    low: float
    high: float
    step: float

    def __init__(self, figure: Timed, pen: Pen, width: float, t: float) -> None:
        self.figure, self.pen, self.width, self.t = figure, pen, width, t

    def x(self, utc_s: float) -> float:
        f = self.figure
        share = (utc_s - f.from_utc_s) / (f.to_utc_s - f.from_utc_s)
        return self.left + min(1.0, max(0.0, share)) * (self.right - self.left)

    def y(self, temp: float) -> float:
        return self.y_curve + self.h_curve * (self.high - temp) / (self.high - self.low)

    def shown(self, temp_c: float) -> float:
        return temp_c * 1.8 + 32.0 if self.figure.units == "us" else temp_c

    def grid(self) -> list[str]:
        """A line and a number at each step of temperature, the unit at the top."""
        out, t = [], self.t
        unit = "°F" if self.figure.units == "us" else "°C"
        ticks = round((self.high - self.low) / self.step)
        for k in range(ticks + 1):
            value = self.low + k * self.step
            y = self.y(value)
            out.append(self.pen.line(self.left, y, self.right, y, "line", 0.5))
            label = f"{value:.0f}" + (unit if k == ticks else "")
            out.append(
                self.pen.text(
                    self.left - 0.3 * t, y + 0.36 * t, label, t, role="ink-2", anchor="end"
                )
            )
        return out

    def band(self, dew: Sequence[Points], limit: Sequence[Points]) -> list[str]:
        """From the dew point up to where the slab must be, run by run."""
        out = []
        for low, high in zip(dew, limit, strict=True):
            out.append(f'<path d="{line_d(high + low[::-1])}Z" {self.pen.hatched("measure")}/>')
            out.append(f'<path d="{line_d(high)}" {self.pen.stroke("ink", look.THIN, "3 3")}/>')
        return out
