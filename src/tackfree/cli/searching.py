"""A search for a plan at a terminal: how far it is, and Ctrl-C keeps the best so far."""

from __future__ import annotations

import signal
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from threading import current_thread, main_thread
from typing import TYPE_CHECKING, Any

from tackfree.cli.common import talk

if TYPE_CHECKING:
    from tackfree.service.pipeline import Pipeline


@contextmanager
def kept_on_stop() -> Iterator[Callable[[], bool]]:
    """Whether Ctrl-C was pressed in the block; pressed again it breaks off as usual."""
    pressed = False
    if current_thread() is not main_thread():
        yield lambda: False
        return
    was = signal.getsignal(signal.SIGINT)

    def press(number: int, frame: Any) -> None:
        nonlocal pressed
        pressed = True
        signal.signal(signal.SIGINT, was)
        talk("Stopping; the best plan so far is kept.")

    signal.signal(signal.SIGINT, press)
    try:
        yield lambda: pressed
    finally:
        signal.signal(signal.SIGINT, was)


def searched(bundle: Path, *, quiet: bool) -> Pipeline:
    """A job with its plan made, progress on stderr where that is a terminal."""
    from tackfree.service.papers import at_slot
    from tackfree.service.pipeline import Pipeline

    made = Pipeline.of(bundle)

    def told(finish: int, bound: int) -> None:
        proven = f"; none ends before {at_slot(made, bound):%a %d %b}" if bound else ""
        talk(f"A plan ends {at_slot(made, finish):%a %d %b %H:%M}{proven}. Ctrl-C keeps it.")

    _ = made.problem
    ready = {k: v for k, v in vars(made).items() if k not in {"stop", "told"}}
    with kept_on_stop() as stop:
        shown = None if quiet or not sys.stderr.isatty() else told
        watched = replace(made, stop=stop, told=shown)
        vars(watched).update(ready)
        _ = watched.plan
    return watched
