"""What makes a coat ready again once its window has closed."""

from __future__ import annotations

from dataclasses import dataclass

from tackfree.plan.types import Lag, Task


@dataclass(frozen=True, kw_only=True)
class Way:
    """Work between two steps whose window is lost, such as abrading and a new primer.

    ``tasks`` in order; ``lags`` join them, the last one to the step that waits, and may
    begin at steps of the problem itself. ``volume_l`` is the liquid it takes.
    """

    tasks: tuple[Task, ...]
    lags: tuple[Lag, ...]
    volume_l: float = 0.0
