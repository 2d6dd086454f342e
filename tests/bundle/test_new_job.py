"""A new job works at once, and never overwrites anything."""

from __future__ import annotations

from datetime import date, datetime
from pathlib import Path
from typing import Any

import pytest

from tackfree.bundle.load import check, load
from tackfree.bundle.new import copy_bundle, copy_typical_year, new_job
from tackfree.errors import InputError, Refused
from tackfree.service.decks import read_decks

MONDAY = datetime(2027, 4, 12, 7)


def make(folder: Path, **changes: Any) -> Path:
    given: dict[str, Any] = {"job_id": "TERRACE-1", "name": "Terrace", "as_of": MONDAY, **changes}
    return new_job(folder, **given)


def test_a_new_job_is_in_order_and_has_one_zone(tmp_path: Path) -> None:
    root = make(tmp_path / "new")
    assert check(root) == ()
    job = load(root)
    assert (job.id, job.name, job.invented) == ("TERRACE-1", "Terrace", True)
    assert job.starts_on == date(2027, 4, 26)  # the Monday after the coming one
    assert all(p.invented for p in job.products.values())
    (deck,) = read_decks(job).decks
    (zone,) = deck.zones
    assert zone.outline.area == 540  # by hand: 30 m × 18 m
    assert {f.kind.value for f in deck.features} == {"column", "drain", "upturn"}


def test_its_documents_teach(tmp_path: Path) -> None:
    root = make(tmp_path / "new")
    for path in [*root.glob("*.toml"), *root.glob("decks/*.toml")]:
        text = path.read_text("utf-8")
        assert text.startswith("#"), path.name
        assert "@" not in text, path.name


def test_the_same_job_is_the_same_bytes(tmp_path: Path) -> None:
    first, second = make(tmp_path / "a"), make(tmp_path / "b")
    names = sorted(p.relative_to(first) for p in first.rglob("*") if p.is_file())
    assert names == sorted(p.relative_to(second) for p in second.rglob("*") if p.is_file())
    assert all((first / n).read_bytes() == (second / n).read_bytes() for n in names)


@pytest.mark.parametrize(
    "name", ['He said "no"', "back\\slash", "Ñandú @ID@ — 50 %", "# not a comment", "'''"]
)
def test_any_name_can_be_given(tmp_path: Path, name: str) -> None:
    assert load(make(tmp_path / "new", name=name)).name == name


def test_another_place(tmp_path: Path) -> None:
    job = load(
        make(
            tmp_path / "new",
            latitude_deg=48.1,
            longitude_deg=11.6,
            altitude_m=520.5,
            time_zone="Europe/Berlin",
            units="si",
            starts_on=date(2027, 5, 3),
        )
    )
    assert (job.place.latitude_deg, job.place.longitude_deg, job.place.altitude_m) == (
        48.1, 11.6, 520.5,
    )  # fmt: skip
    assert (job.units, job.starts_on, job.as_of.tzname()) == ("si", date(2027, 5, 3), "CEST")


def test_nothing_is_overwritten(tmp_path: Path) -> None:
    (tmp_path / "keep.txt").write_text("mine")
    with pytest.raises(InputError, match="nothing is overwritten"):
        make(tmp_path)
    with pytest.raises(InputError, match="nothing is overwritten"):
        make(tmp_path / "keep.txt")
    assert [p.name for p in tmp_path.iterdir()] == ["keep.txt"]
    empty = tmp_path / "empty"
    empty.mkdir()
    assert check(make(empty)) == ()


@pytest.mark.parametrize(
    ("change", "where"),
    [
        ({"job_id": "terrace"}, "job.toml, id"),
        ({"time_zone": "Mars/Base"}, "place.time_zone"),
        ({"latitude_deg": 95.0}, "place.latitude_deg"),
        ({"as_of": datetime(2027, 3, 14, 2, 30)}, "as_of"),
        ({"name": ""}, "name"),
    ],
)
def test_what_cannot_be_right_writes_nothing(
    tmp_path: Path, change: dict[str, Any], where: str
) -> None:
    with pytest.raises(Refused) as caught:
        make(tmp_path / "new", **change)
    assert any(where in f.where for f in caught.value.faults)
    assert not (tmp_path / "new").exists()


def test_a_name_of_two_lines_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="one line"):
        make(tmp_path / "new", name="a\nb = 1")


def test_the_weather_is_the_station_that_is_named(tmp_path: Path) -> None:
    first = copy_typical_year(tmp_path).read_text("latin-1").split("\n", 1)[0]
    # library: pvlib's data folder; the header line of the file itself
    assert first.strip() == '723170,"GREENSBORO PIEDMONT TRIAD INT",NC,-5.0,36.100,-79.950,273'


def test_a_bundle_is_copied_without_its_record(bundle: Any, tmp_path: Path) -> None:
    (bundle.root / ".tackfree").mkdir()
    (bundle.root / ".tackfree" / "job.sqlite").write_text("entries")
    (bundle.root / "weather" / "723170TYA.CSV").unlink()
    root = copy_bundle(bundle.root, tmp_path / "copy")
    assert not (root / ".tackfree").exists()
    assert check(root) == ()
    with pytest.raises(InputError, match="nothing is overwritten"):
        copy_bundle(bundle.root, root)


def test_left_alone_it_starts_today(tmp_path: Path) -> None:
    job = load(new_job(tmp_path / "new"))
    assert job.id == "NEW-JOB"
    assert (job.as_of.hour, job.starts_on.weekday()) == (7, 0)
    assert 7 < (job.starts_on - job.as_of.date()).days <= 14
