"""A progress bar on stderr, or plain lines where stderr is no terminal."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager

from tackfree.service.work import Progress
from tackfree.service.work import quiet as silent


@contextmanager
def bar(*, quiet: bool) -> Iterator[Progress]:
    """A function to tell progress to, for as long as the block runs."""
    if quiet:
        yield silent
        return
    if not sys.stderr.isatty():

        def line(stage: str, number: int, of: int) -> None:
            print(f"[{number}/{of}] {stage}", file=sys.stderr, flush=True)

        yield line
        return
    from rich.console import Console
    from rich.progress import BarColumn, TextColumn, TimeElapsedColumn
    from rich.progress import Progress as RichProgress

    with RichProgress(
        BarColumn(),
        TextColumn("{task.completed}/{task.total} {task.description}"),
        TimeElapsedColumn(),
        console=Console(stderr=True),
        transient=True,
    ) as rich:
        task = rich.add_task("", total=None)

        def show(stage: str, number: int, of: int) -> None:
            rich.update(task, description=stage, completed=number - 1, total=of)

        yield show
