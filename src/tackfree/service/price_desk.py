"""The price of a bundle as it stands now, kept until one of its documents changes."""

from __future__ import annotations

import tempfile
import threading
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from tackfree.errors import NotFound
from tackfree.service.job import open_job
from tackfree.service.pipeline import Pipeline
from tackfree.service.quote import price_document, price_list_mark, write_quote

PAPERS = ("price.xlsx", "proposal.pdf")
_KEPT = ("drawings", "takeoff", "sections")  # what no price moves
Mark = tuple[tuple[str, int, int], ...]


@dataclass(kw_only=True)
class PriceDesk:
    """Works a price out anew when asked; stages that no price moves are kept."""

    root: Path
    _lock: threading.Lock = field(default_factory=threading.Lock)
    _at: tuple[Mark, str] | None = None
    _made: Pipeline | None = None

    def document(self) -> dict[str, Any]:
        """The price as JSON.

        Raises
        ------
        Refused, InputError
            With what keeps the job from being priced.
        """
        with self._lock:
            return price_document(self._pipeline())

    def paper(self, name: str) -> bytes:
        """Workbook or proposal of the price as it stands.

        Raises
        ------
        NotFound
            If there is no paper of that name.
        """
        if name not in PAPERS:
            raise NotFound(
                "there is no such paper.", where=name, do=f"Ask for {' or '.join(PAPERS)}."
            )
        with self._lock, tempfile.TemporaryDirectory(prefix="tackfree-") as folder:
            write_quote(self._pipeline(), Path(folder))
            return (Path(folder) / name).read_bytes()

    def _pipeline(self) -> Pipeline:
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
