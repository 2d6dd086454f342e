"""The price of a bundle as it stands now, as data and as papers."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import Any

from tackfree.errors import NotFound
from tackfree.service.kept import KeptPipeline
from tackfree.service.quote import price_document, write_quote

PAPERS = ("price.xlsx", "proposal.pdf")


class PriceDesk:
    """Works a price out anew when asked; stages that no price moves are kept."""

    def __init__(self, *, root: Path) -> None:
        self._kept = KeptPipeline(root=root)

    def document(self) -> dict[str, Any]:
        """The price as JSON.

        Raises
        ------
        Refused, InputError
            With what keeps the job from being priced.
        """
        with self._kept.lock:
            return price_document(self._kept.pipeline())

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
        with self._kept.lock, tempfile.TemporaryDirectory(prefix="tackfree-") as folder:
            write_quote(self._kept.pipeline(), Path(folder))
            return (Path(folder) / name).read_bytes()
