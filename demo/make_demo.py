"""Completes the demo bundle: its decks, its weather from pvlib, a record to take in."""

from __future__ import annotations

import runpy
from pathlib import Path

HERE = Path(__file__).resolve().parent


def main() -> None:
    """Write ``demo/job``'s drawings, weather file and example of a record."""
    from tackfree.bundle.new import copy_typical_year

    runpy.run_path(str(HERE / "draw.py"), run_name="__main__")
    copy_typical_year(HERE / "job" / "weather")
    runpy.run_path(str(HERE / "record_example.py"), run_name="__main__")


if __name__ == "__main__":
    main()
