"""Every fault of a bundle at once."""

from __future__ import annotations

from pathlib import Path

from tackfree.bundle.check_buildups import build_up_faults
from tackfree.bundle.check_decks import deck_faults
from tackfree.bundle.check_job import job_faults
from tackfree.bundle.check_products import product_faults
from tackfree.bundle.hold_points import hold_faults
from tackfree.bundle.items import parts_of
from tackfree.bundle.price import price_faults
from tackfree.bundle.read import Documents, folder_of, read
from tackfree.errors import Fault, ToolError


def check(path: Path) -> tuple[Fault, ...]:
    """Every fault of a bundle, those of its files first; empty where it can be loaded."""
    try:
        return all_faults(read(folder_of(path)))
    except ToolError as error:
        return error.faults


def all_faults(docs: Documents) -> tuple[Fault, ...]:
    """What reading found, then what shows when the documents are laid side by side."""
    parts = parts_of(docs)
    faults = [
        *docs.faults,
        *job_faults(parts),
        *hold_faults(parts),
        *product_faults(parts),
        *build_up_faults(parts),
        *deck_faults(parts),
        *price_faults(parts),
    ]
    # A missing key can be both a fault of its document and of a cross check.
    first: dict[str, Fault] = {}
    for one in faults:
        first.setdefault(f"{one.where}: {one.what}", one)
    return tuple(first.values())
