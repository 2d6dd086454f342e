"""Bad input at the command line: each is answered in words, and none of it makes a pass."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from tests.evidence.made_bay import (
    BASE,
    FT,
    GAL,
    HIGH_FT,
    SECTION,
    WIDE_FT,
    Logged,
    new_bay,
    tackfree,
)
from tests.evidence.made_bay import log as log_on

WALL = "2027-05-03T10:00:00-04:00"
FILMS = (27, 28, 26, 29, 27, 28, 27, 26, 28, 27, 29, 28, 26, 27, 28, 27)  # mil, a sound bay
KITS = 12
MIL = 25.4


@pytest.fixture(scope="module")
def bay(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return new_bay(tmp_path_factory.mktemp("bad") / "job")


def strip(k: int, kits: int = KITS) -> list[list[float]]:
    """The ground of the k-th of equal kits."""
    y0, y1 = HIGH_FT * FT * k / kits, HIGH_FT * FT * (k + 1) / kits
    return [[0, y0], [WIDE_FT * FT, y0], [WIDE_FT * FT, y1], [0, y1]]


def kit(name: str, outline: Any, **more: Any) -> list[Logged]:
    # 27.5 mil over 6 of texture on a twelfth of the bay
    batch = {"kit": name, "product": "EX-B", "volume_l": 33.5 * 3200 / 1604.1667 / KITS * GAL}
    return [("batch", {**BASE, **batch, **more}),
            ("placement", {**BASE, "kit": name, "outline": outline})]  # fmt: skip


def kits(count: int = KITS, **more: Any) -> list[Logged]:
    return [b for k in range(count) for b in kit(f"K-{k + 1}", strip(k), **more)]


def read(x_ft: float, y_ft: float, *teeth: float | None, **more: Any) -> Logged:
    ends = zip(("wet_tooth", "dry_tooth"), teeth, strict=True)
    told = {name: value for name, value in ends if value is not None}
    place = {"x_m": x_ft * FT, "y_m": y_ft * FT, "unit": "mil", "gauge": "COMB-7"}
    return ("film-reading", {**BASE, **place, **told, "gauge_checked": True, **more})


def reads(**more: Any) -> list[Logged]:
    return [
        read(5 + 10 * (k % 4), 10 + 20 * (k // 4), v - 1, v + 1, **more)
        for k, v in enumerate(FILMS)
    ]


def at(clock: str, some: list[Logged]) -> list[Logged]:
    return [(b[0], b[1], f"2027-05-{clock}:00-04:00") for b in some]


def top_kit(**more: Any) -> list[Logged]:
    body = {**BASE, "coat": "TOP", "kit": "T-1", "product": "EX-T", "volume_l": 5 * GAL}
    return [("batch", {**body, **more})]


NINE = {"mixed_from": "2027-05-03T09:00:00-04:00"}
SOUND = "The section: SHOWN. Better than 99 % sure."
USED = "12 kits (66.8 gal, loss 0 %), 16 readings."
TABLE: dict[str, tuple[list[Logged], tuple[str, ...]]] = {
    # name: what is logged, what must be said of it
    "sound": (kits() + reads(), (SOUND, USED)),
    "overlapping cells": (
        kits() + kit("K-13", strip(3)) + reads(),
        ("K-13, K-4 lie on shared ground: their volumes are added over it.", "13 kits (72.4 gal",
         "a kit on the ground of K-13 … K-4 was logged twice"),
    ),
    "readings outside the deck": (
        kits() + reads() + [read(200, 20, 60, 62), read(10, -30, 60, 62)],
        ("Readings outside the section: 2. They are kept and not used", SOUND, USED),
    ),
    "readings after sand": (
        kits() + reads() + [read(10, 20, 60, 62, after_sand=True)],
        ("Readings taken with sand in the film: 1. They are kept and not used", SOUND, USED),
    ),
    "two coats mixed, the kits' time stated": (
        at("03T08:30", [read(10, 20, 60, 62)]) + kits(**NINE) + reads()
        + top_kit(mixed_from="2027-05-04T09:00:00-04:00")
        + at("04T09:30", [read(10, 40, 60, 62)]),
        ("Readings of another coat by the clock (before this coat's first kit was mixed, or after "
         "the next coat's): 2. They are kept and not used.", SOUND, USED),
    ),
    "two coats mixed, the entry alone tells the time": (
        at("03T08:30", [read(10, 20, 2, 4)]) + kits() + reads(),
        ("or after the first of the next: 1. They count here; if they are of another coat, "
         "correct them.", "1 of 17 readings are under 20.0 mil", "The section: NOT SHOWN"),
    ),
    "below the first tooth": (
        kits() + reads() + [read(10, 20, None, 24), read(30, 60, None, 24)],
        ('Readings dry at the first tooth: 2. They say "at most" only',
         # counted as 12 mil: as 24 they would hold
         "2 of 18 readings are under 20.0 mil", "The section: NOT SHOWN"),
    ),
    "past the last tooth": (
        kits() + reads() + [read(10, 20, 40, None)],
        ('Readings wet past the last tooth of the gauge: 1. They say "at least" only',
         "Average of 17 readings 28.12 mil",  # exact: (16 * 27.375 + 40) / 17
         "The section: SHOWN"),
    ),
    "area 0": (
        kits(11) + kit("K-12", [[1, 1]] * 3) + reads(),
        ("K-12: no ground of this section. Such a kit counts in the gallons and not in the map",
         "12 kits (66.8 gal"),
    ),
    "duplicated kit": (
        kits() + kits()[:2] + reads(),
        ("Kit K-1 is logged more than once; it is counted once.", SOUND, USED),
    ),
    "gauge never checked": (
        kits() + reads(gauge_checked=False),
        ("No check of gauge COMB-7 is logged; it is taken to be off by up to 1.4 mil", USED),
    ),
    "all readings equal": (
        kits() + [read(5 + 10 * (k % 4), 10 + 20 * (k // 4), 26, 28) for k in range(16)],
        ("All 16 readings are the same: the comb, or the writing, may be too coarse", USED),
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", list(TABLE))
def test_each_is_answered_in_words(bay: Path, tmp_path: Path, name: str) -> None:
    bodies, sentences = TABLE[name]
    folder = log_on(bay, tmp_path / "job", bodies, WALL)
    said = tackfree("film", "verdict", folder, "--coat", "BASE", "--now", "2027-05-03T12:00")
    for sentence in sentences:
        assert sentence in said


def test_what_is_used_is_in_the_json(bay: Path, tmp_path: Path) -> None:
    bodies = kits(11) + kit("K-12", [[1, 1]] * 3) + kit("K-13", strip(3)) + reads()
    folder = log_on(bay, tmp_path / "job", bodies, WALL)
    found = tackfree("film", "verdict", folder, "--coat", "BASE", "--json")
    (study,) = json.loads(found)["studies"]
    assert (study["kits"], len(study["cells"])) == (13, 11)
    assert ["K-13", "K-4"] in [c["kits"] for c in study["cells"]]
    ids = {m["id"] for m in study["messages"]}
    assert {"evidence.no_area", "evidence.overlap"} <= ids


def test_a_map_of_bad_input_is_drawn_with_what_may_be_used(bay: Path, tmp_path: Path) -> None:
    bodies = TABLE["readings outside the deck"][0] + kit("K-13", [[1, 1]] * 3)
    folder = log_on(bay, tmp_path / "job", bodies, WALL)
    ask = ("--section", SECTION, "--coat", "BASE")
    file = tackfree("film", "map", folder, *ask, "--out", tmp_path).strip()
    drawn = Path(file).read_text("utf-8")
    assert drawn.count(">26–28<") == sum(v == 27 for v in FILMS)
    assert "60–62" not in drawn
    spanish = tackfree("film", "verdict", folder, *ask, "--lang", "es", "--units", "si")
    assert "Lecturas fuera de la sección: 2." in spanish
    assert "K-13: sin suelo en esta sección." in spanish
    assert "{" not in spanish


def test_more_than_can_be_judged_is_said(
    bay: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = log_on(bay, tmp_path / "job", kits() + reads(), WALL)
    ask = ("film", "verdict", folder, "--coat", "BASE")
    monkeypatch.setattr("tackfree.service.evidence.MANY", 20)
    assert "28 readings and kits of one section are many" in tackfree(*ask)
    monkeypatch.setattr("tackfree.service.evidence.MOST_DATA", 20)
    said = tackfree(*ask, refused=True)
    assert "16 readings and 12 kit cells are more than 20" in said
    assert "Cut the section in two and judge each by itself" in said


def test_three_thousand_readings_are_judged_and_four_thousand_refused(
    bay: Path, tmp_path: Path, request: pytest.FixtureRequest
) -> None:
    def many(count: int) -> list[Logged]:
        return [read(0.5 + 0.6 * (k % 65), 0.5 + 1.2 * (k // 65), 26, 28) for k in range(count)]

    ask = ("film", "verdict", "--coat", "BASE")
    if request.config.getoption("--trials"):  # takes a minute
        folder = log_on(bay, tmp_path / "many", kits() + many(3000), WALL)
        said = tackfree(*ask, folder)
        assert "3012 readings and kits of one section are many" in said
        assert "cut it into smaller sections" in said
    folder = log_on(bay, tmp_path / "more", kits() + many(4000), WALL)
    assert "4000 readings and 12 kit cells are more than 4000" in tackfree(
        *ask, folder, refused=True
    )
