"""Long work: progress, times and a way to stop, in this process."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field

from tackfree.errors import ToolError

Progress = Callable[[str, int, int], None]  # stage, its number from 1, how many


class Stopped(ToolError):
    """The person who started the work stopped it; nothing was changed."""


def quiet(stage: str, number: int, of: int) -> None:
    """No progress shown."""


@dataclass
class Work:
    """One run of several stages: tells progress, keeps times, looks for a stop."""

    stages: tuple[str, ...]
    progress: Progress = quiet
    stop: Callable[[], bool] = lambda: False
    seconds: dict[str, float] = field(default_factory=dict)

    @contextmanager
    def stage(self, name: str) -> Iterator[None]:
        """Run one named stage."""
        if self.stop():
            raise Stopped("Stopped; the old output is as it was.")
        self.progress(name, self.stages.index(name) + 1, len(self.stages))
        begun = time.perf_counter()
        yield
        self.seconds[name] = round(time.perf_counter() - begun, 3)
