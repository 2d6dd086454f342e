"""Completes the demo bundle: draws its decks and fetches its weather from pvlib."""

from __future__ import annotations

import runpy
from pathlib import Path

HERE = Path(__file__).resolve().parent


def main() -> None:
    """Write ``demo/job``'s drawings and weather file."""
    from tackfree.bundle.new import copy_typical_year

    runpy.run_path(str(HERE / "draw.py"), run_name="__main__")
    copy_typical_year(HERE / "job" / "weather")


if __name__ == "__main__":
    main()
