"""Run every bench, or one: ``python -m bench [--only NAME]``."""

from __future__ import annotations

import argparse
import importlib
import json
import pkgutil
import sys
from pathlib import Path

import bench

OUT = Path(__file__).resolve().parent / "out" / "results.json"


def main() -> int:
    """Print every ratio; exit 1 when a goal does not hold."""
    names = sorted(m.name for m in pkgutil.iter_modules(bench.__path__) if m.name != "__main__")
    parser = argparse.ArgumentParser(prog="bench")
    parser.add_argument("--only", choices=names, help="one bench")
    only = parser.parse_args().only
    rows = []
    for name in [only] if only else names:
        rows += importlib.import_module(f"bench.{name}").run()
    for row in rows:
        ratio = f"{row['ratio']:.4g}×" if row.get("ratio") is not None else "-"
        held = {True: "holds", False: "MISSED", None: "no goal"}[row.get("holds")]
        print(
            f"{row['id']}: {row['value']:.4g} {row['unit']}, {ratio} against "
            f"{row['baseline']}; goal {row['goal']}: {held} ({row['runs']} runs)"
        )
    OUT.parent.mkdir(parents=True, exist_ok=True)
    OUT.write_text(json.dumps(rows, indent=1, ensure_ascii=False) + "\n", "utf-8")
    print(f"{len(rows)} results in {OUT}")
    return 0 if all(r.get("holds") is not False for r in rows) else 1


if __name__ == "__main__":
    sys.exit(main())
