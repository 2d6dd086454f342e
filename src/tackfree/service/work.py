"""Long work: progress, times and a way to stop, in this process."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass, field
from threading import Event, Thread

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


def asked_beside(
    stop: Callable[[], bool], every_s: float = 0.1
) -> Callable[[Callable[[], None]], AbstractContextManager[None]]:
    """Stand around work that hears nothing: ask ``stop`` beside it, and end it by ``end``.

    Examples
    --------
    >>> with asked_beside(lambda: True, 0.001)(lambda: None):
    ...     pass
    """

    @contextmanager
    def around(end: Callable[[], None]) -> Iterator[None]:
        over = Event()

        def ask() -> None:
            while not over.wait(every_s):
                if stop():
                    end()

        beside = Thread(target=ask, daemon=True)
        beside.start()
        try:
            yield
        finally:
            over.set()
            beside.join()

    return around
