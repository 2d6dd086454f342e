"""The whole job in one run: drawings and weather in, every sheet out."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tackfree import __version__
from tackfree.service.save import RECEIPT, dumps, whole_folder, write_atomic
from tackfree.service.work import Progress, Work, quiet

STAGES = (
    "read the job",
    "read the drawings",
    "take off",
    "cut sections",
    "materials",
    "slab and air",
    "plan",
    "clocks",
    "drawings",
    "order",
    "shift sheets",
    "calendar",
    "summary",
)
