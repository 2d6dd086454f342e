"""The demo's documents and its drawings fit each other."""

from __future__ import annotations

import runpy
from pathlib import Path
from typing import Any

import pytest

from tackfree.bundle.load import load
from tackfree.deck.types import FeatureKind
from tackfree.service.decks import read_decks

FT2 = 0.3048**2
DRAW = Path(__file__).resolve().parents[2] / "demo" / "draw.py"


def test_every_zone_finds_its_outline(demo: Any) -> None:
    runpy.run_path(str(DRAW))["draw"](demo.root / "decks")
    job = load(demo.root)
    decks = {d.id: d for d in read_decks(job).decks}
    areas = {z.id: z.outline.area / FT2 for d in decks.values() for z in d.zones}
    assert set(areas) == {z.id for d in job.decks for z in d.zones}
    # by hand: rows of 18 ft and lanes of 24 ft, 144 ft long; of the cross aisle, 22 ft wide,
    # lane A has 78 ft, B 60 ft, C 42 ft and the landing of the ramp, 24 ft
    deep = {"STALL-A": 18, "STALL-B": 36, "STALL-C": 36, "STALL-D": 18}
    expected = {name: wide * 144 for name, wide in deep.items()}
    for name, aisle in {"LANE-A": 78, "LANE-B": 60, "LANE-C": 42 + 24}.items():
        expected[name] = 24 * 144 + 22 * aisle
    for name, area in expected.items():
        for level in ("P1", "P2"):
            assert areas[f"{level}-{name}"] == pytest.approx(area)
    assert areas["P2-RAMP"] == pytest.approx(24 * 122)
    assert [areas[f"BAL-{i:02}"] for i in range(1, 13)] == pytest.approx([12 * 4.25] * 12)
    for level in ("P1", "P2"):
        kinds = {f.kind for f in decks[level].features}
        assert kinds >= {FeatureKind.CRACK, FeatureKind.STALL, FeatureKind.ENTRANCE}
    groups = job.cutting.group_zones
    sections = len(areas) - sum(map(len, groups)) + len(groups)
    assert sections <= 20  # no zone is larger than the largest section
    assert max(areas.values()) * FT2 <= (job.cutting.section_max_m2 or 0)


def test_everything_in_the_demo_is_marked_as_invented(demo: Any) -> None:
    assert demo.told() == []
    job = load(demo.root)
    assert job.invented
    assert all(p.invented for p in job.products.values())
