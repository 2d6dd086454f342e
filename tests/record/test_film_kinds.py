"""Kits, placements and film readings as bodies of entries."""

from __future__ import annotations

from typing import Any

import pytest

from tackfree.errors import InputError
from tackfree.record.kinds import FilmReadingV1, check_body, read_body

READING: dict[str, Any] = {
    "section": "P1-A", "coat": "BASE", "x_m": 3, "y_m": 4.5, "unit": "mil",
    "wet_tooth": 24, "dry_tooth": 26.0, "gauge": "G-1",
}  # fmt: skip
BATCH: dict[str, Any] = {
    "kit": "K-1", "product": "HEN-B", "section": "P1-A", "coat": "BASE",
    "parts": [{"name": "A", "lot": "L1"}, {"name": "B", "lot": "L2"}], "temperature_c": 22.5,
}  # fmt: skip
PLACED: dict[str, Any] = {
    "kit": "K-1", "section": "P1-A", "coat": "BASE", "cell": "7", "layout": "sha",
    "outline": [[0, 0], [5, 0], [5.0, 4], [0, 4]], "leftover_l": 0.5,
}  # fmt: skip


@pytest.mark.parametrize(
    ("kind", "body"), [("film-reading", READING), ("batch", BATCH), ("placement", PLACED)]
)
def test_a_whole_body_is_taken(kind: str, body: dict[str, Any]) -> None:
    check_body(kind, 1, body)
    assert read_body(kind, 1, body).model_dump(exclude_unset=True) == body


@pytest.mark.parametrize(
    ("kind", "change", "told"),
    [
        ("film-reading", {"wet_tooth": None, "dry_tooth": None}, "last wetted tooth"),
        ("film-reading", {"wet_tooth": 26, "dry_tooth": 26}, "must be higher"),
        ("film-reading", {"unit": "mm"}, "unit"),
        ("film-reading", {"x_m": float("nan")}, "x_m"),
        ("film-reading", {"gauge": ""}, "gauge"),
        ("batch", {"volume_l": 0}, "volume_l"),
        ("batch", {"parts": [{"name": "A"}]}, "lot"),
        ("placement", {"outline": [[0, 0], [1, 1]]}, "outline"),
        ("placement", {"outline": [[0, 0], [1, 1], [2]]}, "outline"),
        ("placement", {"area": 5}, "area"),
    ],
)
def test_what_is_wrong_is_named(kind: str, change: dict[str, Any], told: str) -> None:
    whole = {"film-reading": READING, "batch": BATCH, "placement": PLACED}[kind]
    with pytest.raises(InputError, match=told):
        check_body(kind, 1, {**whole, **change})


@pytest.mark.parametrize("open_end", ["wet_tooth", "dry_tooth"])
def test_a_reading_may_be_open_at_one_end(open_end: str) -> None:
    body = {k: v for k, v in READING.items() if k != open_end}
    check_body("film-reading", 1, body)
    read = read_body("film-reading", 1, body)
    assert isinstance(read, FilmReadingV1)
    assert getattr(read, open_end) is None
