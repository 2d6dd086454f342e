"""A bundle worked out as it stands now, kept until one of its documents changes."""

from __future__ import annotations

import threading
from dataclasses import dataclass, field, replace
from pathlib import Path

from tackfree.service.job import open_job
from tackfree.service.pipeline import Pipeline
from tackfree.service.quote import price_list_mark

_KEPT = ("drawings", "takeoff", "sections")  # what no price moves
Mark = tuple[tuple[str, int, int], ...]


@dataclass(kw_only=True)
class KeptPipeline:
    """The stages of a folder bundle; those that no price moves outlive a changed price.

    Hold ``lock`` while the pipeline is used: its stages are worked out when first asked for.
    """

    root: Path
    lock: threading.Lock = field(default_factory=threading.Lock)
    _at: tuple[Mark, str] | None = None
    _made: Pipeline | None = None

    def pipeline(self) -> Pipeline:
        """The stages of the documents as they are.

        Raises
        ------
        Refused
            With every fault of the documents.
        """
        mark, prices = _mark(self.root), price_list_mark(self.root)
        if self._made is None or self._at is None or self._at[0] != mark:
            self._made = Pipeline.of(self.root)
        elif self._at[1] != prices:
            old = self._made
            fresh = Pipeline(replace(old.job, price=open_job(self.root).price))
            for name in _KEPT:
                if name in old.__dict__:
                    fresh.__dict__[name] = old.__dict__[name]
            self._made = fresh
        self._at = (mark, prices)
        return self._made


def _mark(root: Path) -> Mark:
    """Names, times and sizes of the documents but the price list."""
    paths = [*root.glob("*.toml"), *root.glob("decks/*"), *root.glob("weather/*")]
    stats = [(p.relative_to(root).as_posix(), p.stat()) for p in sorted(paths) if p.is_file()]
    return tuple((n, s.st_mtime_ns, s.st_size) for n, s in stats if n != "price.toml")
