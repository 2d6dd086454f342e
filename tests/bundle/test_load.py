"""What a bundle says arrives in SI and in the core's own types."""

from __future__ import annotations

import io
import shutil
import stat
import zipfile
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from tackfree.buildup.types import Limits, Role
from tackfree.bundle import read
from tackfree.bundle.clock import comes_twice, missing
from tackfree.bundle.limits import combine, limits_for
from tackfree.bundle.load import check, documents, load, notes
from tackfree.deck.types import Duty, Exposure, FeatureKind, PostTensioned
from tackfree.errors import InputError, NotFound
from tackfree.words import LANGUAGES, catalogue, say


def test_the_job_in_si(bundle: Any) -> None:
    job = load(bundle.root)
    assert (job.id, job.invented, job.units, job.languages) == (
        "ALDER-ROW",
        True,
        "us",
        ("en", "es"),
    )
    assert job.as_of == datetime(2027, 4, 12, 7, tzinfo=ZoneInfo("America/New_York"))
    # published: IANA time zone data, America/New_York is 4 h behind UTC in April 2027
    assert job.as_of.utcoffset() == timedelta(hours=-4)
    assert (job.starts_on, job.stalls_open_min, job.slot_minutes) == (date(2027, 4, 19), 0.5, 30)
    day, evening = job.shifts
    assert (day.weekdays, day.begins, day.ends, day.lights) == (
        (0, 1, 2, 3, 4), time(7), time(15, 30), False,
    )  # fmt: skip
    assert evening.lights
    (crew,) = job.crews
    assert set(crew.rates) == {
        "prep", "details", "primer", "base", "intermediate", "top", "lock", "sweep", "stripe",
    }  # fmt: skip
    # published: 1 ft = 0.3048 m exactly, NIST Handbook 44, appendix C
    assert crew.rates["base"] == pytest.approx(1500 * 0.3048**2)
    assert crew.rates["details"] == pytest.approx(180 * 0.3048)
    assert job.cutting.section_max_m2 == pytest.approx(6000 * 0.3048**2)
    assert [len(g) for g in job.cutting.group_zones] == [5, 5, 2]
    assert job.weather.file == bundle.root / "weather" / "723170TYA.CSV"


def test_product_sheets_in_si(bundle: Any) -> None:
    sheet = load(bundle.root).products["HEN-B"]
    assert sheet.role == Role.BASE
    assert sheet.kit is not None
    # published: 1 US gallon = 231 in³, NIST Handbook 44, appendix C
    assert sheet.kit.volume_l == pytest.approx(5 * 231 * 2.54**3 / 1000)
    assert sum(p.volume_l for p in sheet.kit.parts) == pytest.approx(sheet.kit.volume_l)
    assert [p.minutes for p in sheet.pot_life] == pytest.approx([30, 15])
    cold, warm = sheet.cure  # sorted by temperature
    assert cold.temp_c == pytest.approx(10)  # published: 50 °F is 10 °C by definition
    assert warm.recoat_after_h == (8, 12)
    assert sheet.wft_max_um == pytest.approx(40 * 25.4)  # published: 1 in = 25.4 mm
    assert (sheet.mix_minutes, len(sheet.mix_steps)) == (pytest.approx(3), 3)
    sand = load(bundle.root).products["SAND-1630"]
    assert sand.grain_mm == pytest.approx((0.60, 1.18))
    assert sand.bag_kg == pytest.approx(50 * 0.45359237)  # published: 1 lb, NIST Handbook 44


def test_a_coat_given_by_coverage(bundle: Any) -> None:
    job = load(bundle.root)
    primer = job.build_ups["BU-STALL"].coats[0]
    # published: 1604.17 ft²·mil to the gallon, from 231 in³
    assert primer.wft_um / 25.4 == pytest.approx(1604.17 / 300, rel=1e-5)
    assert job.came_from["build_ups.BU-STALL.coats.PRIMER.wft_um"] == "coverage"
    assert job.came_from["build_ups.BU-STALL.coats.BASE.wft_um"] == "build-up"
    assert "bundle.note.film_by_coverage" in {n.id for n in notes(job)}


def test_decks_in_metres(bundle: Any) -> None:
    decks = {d.id: d for d in load(bundle.root).decks}
    assert set(decks) == {"P1", "P2", "BAL"}
    assert decks["P2"].post_tensioned == PostTensioned.UNKNOWN
    assert decks["P1"].unit_m == 0.3048
    ramp = next(z for z in decks["P2"].zones if z.id == "P2-RAMP")
    assert (ramp.duty, ramp.exposure) == (Duty.EXTRA_HEAVY, Exposure.OPEN_SKY)
    assert ramp.at_m == pytest.approx((150 * 0.3048, 30 * 0.3048))
    assert (ramp.slope_x, ramp.slope_y) == pytest.approx((0, 0.0667))
    assert ramp.substrate.csp == 4
    cracks = [f for f in decks["P1"].features if f.kind == FeatureKind.CRACK]
    assert [f.width_m for f in cracks] == pytest.approx([0.000254, 0.0015875, 0.003175])
    assert len(decks["BAL"].zones) == 12


def test_what_a_build_up_leaves_out_is_a_default_and_said_so(bundle: Any) -> None:
    bundle.change("buildups.toml", 'loss = "6 %"\n', "")
    bundle.change("buildups.toml", 'rout_width = "0.25 in"\n', "")
    job = load(bundle.root)
    stall = job.build_ups["BU-STALL"]
    assert (stall.loss, stall.details.rout_width_m) == (0.08, 0.00635)
    assert job.came_from["build_ups.BU-STALL.loss"] == "default"
    (note,) = [n for n in notes(job) if n.id == "bundle.note.default_build_up"]
    assert note.values["keys"] == "loss, details.rout_width"


def test_a_given_zero_slope_is_zero_and_a_left_out_one_too(bundle: Any) -> None:
    bundle.change("decks/P1.toml", 'slope = ["1.5 %", "0 %"]\n', "")
    zone = load(bundle.root).decks[1].zones[0]
    assert (zone.slope_x, zone.slope_y) == (0.0, 0.0)


def test_an_offset_is_kept_to_the_minute_in_the_job_zone(bundle: Any) -> None:
    bundle.change("job.toml", "2027-04-12T07:00:00", "2027-11-07T01:30:00-05:00")
    as_of = load(bundle.root).as_of
    assert as_of.utcoffset() == timedelta(hours=-5)
    assert (as_of.hour, as_of.minute) == (1, 30)


# Limits


def test_the_stricter_limit_holds_and_says_whose_it_is(bundle: Any) -> None:
    limits, origin = limits_for(load(bundle.root), "HEN-B")
    assert limits.surface_min_c == pytest.approx((45 - 32) / 1.8)
    assert limits.surface_max_c == pytest.approx((110 - 32) / 1.8)
    assert (origin["surface_min_c"], origin["surface_max_c"]) == ("specification", "sheet")
    assert limits.wind_max_m_s == pytest.approx(20 * 0.44704)  # published: 1 mi = 1609.344 m
    assert limits.rh_max == 0.85


def test_defaults_step_in_only_where_nobody_speaks() -> None:
    nothing, origin = combine(Limits(), Limits())
    # practice: 40 to 90 °F, 5 °F over the dew point, 85 %, 8 h; no wind limit
    assert nothing.surface_max_c == pytest.approx((90 - 32) / 1.8)
    assert nothing.spread_min_k == pytest.approx(5 / 1.8)
    assert nothing.wind_max_m_s is None
    assert "wind_max_m_s" not in origin
    assert set(origin.values()) == {"default"}
    some, origin = combine(Limits(), Limits(surface_max_c=45.0))
    assert (some.surface_min_c, some.air_max_c, some.surface_max_c) == (None, None, 45.0)
    assert origin["surface_max_c"] == "sheet"


@pytest.mark.parametrize("name", ["surface_min_c", "spread_min_k", "rain_free_h"])
def test_a_lower_bound_is_stricter_when_higher(name: str) -> None:
    for spec, sheet in ((9.0, 4.0), (4.0, 9.0)):
        limits, origin = combine(Limits(**{name: spec}), Limits(**{name: sheet}))
        assert getattr(limits, name) == 9.0
        assert origin[name] == ("specification" if spec == 9.0 else "sheet")


@pytest.mark.parametrize("name", ["surface_max_c", "rh_max", "wind_max_m_s"])
def test_an_upper_bound_is_stricter_when_lower(name: str) -> None:
    for spec, sheet in ((0.9, 0.4), (0.4, 0.9)):
        limits, origin = combine(Limits(**{name: spec}), Limits(**{name: sheet}))
        assert getattr(limits, name) == 0.4
        assert origin[name] == ("specification" if spec == 0.4 else "sheet")


# Notes


def test_notes_are_sentences_in_both_languages(bundle: Any) -> None:
    bundle.change("spec.toml", 'wind_max = "20 mph"', "")
    bundle.change("products.toml", 'rh_max = "85 %"\n', "")
    bundle.change("spec.toml", 'rh_max = "85 %"\n', "")
    bundle.change("products.toml", 'recoat_before = "36 h"\n', "")
    bundle.change("decks/P1.toml", '"no"', '"yes"')
    job = load(bundle.root)
    told = {n.id.removeprefix("bundle.note.") for n in notes(job)}
    assert told == {
        "tendons", "tendons_unknown", "typical_year", "default_limits", "no_wind_limit",
        "no_recoat_before", "film_by_coverage",
    }  # fmt: skip
    for note in notes(job):
        for language in LANGUAGES:
            text = say(note, language)
            assert text.endswith(".")
            assert "{" not in text


@pytest.mark.parametrize("area", ["bundle.", "record."])
def test_both_languages_hold_the_same_sentences(area: str) -> None:
    english, spanish = (
        {k for k in catalogue(language) if k.startswith(area)} for language in LANGUAGES
    )
    assert english == spanish
    assert english


# Folders and zips


def _zip(root: Path, target: Path, *, under: str = "") -> Path:
    with zipfile.ZipFile(target, "w") as packed:
        for path in sorted(root.rglob("*")):
            if path.is_file():
                packed.write(path, under + path.relative_to(root).as_posix())
    return target


@pytest.mark.parametrize("under", ["", "alder-row/"])
def test_a_zip_is_as_good_as_a_folder(bundle: Any, tmp_path: Path, under: str) -> None:
    packed = _zip(bundle.root, tmp_path / "job.zip", under=under)
    job = load(packed)
    assert job.build_ups == load(bundle.root).build_ups
    assert job.weather.file.is_file()
    assert check(packed) == ()


def test_an_unpacked_zip_goes_with_its_context(bundle: Any, tmp_path: Path) -> None:
    with read.unpacked(_zip(bundle.root, tmp_path / "job.zip")) as root:
        assert load(root).id == "ALDER-ROW"
    assert not root.exists()


@pytest.mark.parametrize(
    "name", ["../out.toml", "/etc/out.toml", "a/../../out.toml", "C:/out.toml", "a\\out.toml"]
)
def test_a_zip_that_reaches_out_is_refused(tmp_path: Path, name: str) -> None:
    path = tmp_path / "bad.zip"
    with zipfile.ZipFile(path, "w") as packed:
        info = zipfile.ZipInfo("placeholder")
        info.filename = name
        packed.writestr(info, "x")
    with pytest.raises(InputError, match="leaves its folder"):
        load(path)
    assert not (tmp_path / "out.toml").exists()


def test_a_zip_with_a_link_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "bad.zip"
    with zipfile.ZipFile(path, "w") as packed:
        info = zipfile.ZipInfo("job.toml")
        info.external_attr = (stat.S_IFLNK | 0o777) << 16
        packed.writestr(info, "/etc/passwd")
    with pytest.raises(InputError, match="no plain file"):
        load(path)


def test_a_zip_that_grows_too_large_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(read, "ZIP_BYTES_MAX", 10_000)
    path = tmp_path / "bad.zip"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("job.toml", b"#" * 20_000)
    with pytest.raises(InputError, match="more than 10000 bytes"):
        load(path)
    monkeypatch.setattr(read, "ZIP_FILES_MAX", 0)
    with pytest.raises(InputError, match="1 files"):
        load(path)


def test_a_zip_with_a_file_twice_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "bad.zip"
    with zipfile.ZipFile(path, "w") as packed:
        packed.writestr("job.toml", "a")
        packed.writestr("JOB.toml", "b")
    with pytest.raises(InputError, match="twice"):
        load(path)


def test_a_zip_that_is_cut_short_or_none_at_all_is_said(bundle: Any, tmp_path: Path) -> None:
    whole = _zip(bundle.root, tmp_path / "job.zip").read_bytes()
    for data in (whole[: len(whole) // 2], b"", b"just text"):
        path = tmp_path / "cut.zip"
        path.write_bytes(data)
        (fault,) = check(path)
        assert "cannot be unpacked" in fault.what
    damaged = io.BytesIO(whole)
    damaged.seek(200)
    damaged.write(b"\xff" * 50)
    path.write_bytes(damaged.getvalue())
    assert "cannot be unpacked" in check(path)[0].what
    with pytest.raises(NotFound):
        load(tmp_path / "nothing")


def test_a_link_out_of_the_folder_is_refused(bundle: Any, tmp_path: Path) -> None:
    secret = tmp_path / "secret.csv"
    secret.write_text("x")
    (bundle.root / "weather" / "723170TYA.CSV").unlink()
    (bundle.root / "weather" / "723170TYA.CSV").symlink_to(secret)
    (told,) = bundle.told()
    assert "out of the bundle" in told


# The document of a revision


def test_documents_hold_text_and_hashes(bundle: Any) -> None:
    found = documents(bundle.root)
    assert found["job.toml"] == (bundle.root / "job.toml").read_text("utf-8")
    # published: SHA-256 of the empty message, FIPS 180-4 example values
    empty = "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"
    assert found["decks/P1.dxf"] == f"sha256:{empty}"
    copy = bundle.root.parent / "copy"
    shutil.copytree(bundle.root, copy)
    assert documents(copy) == found
    (copy / "decks" / "P1.dxf").write_bytes(b"changed")
    assert documents(copy) != found


# Wall time


@pytest.mark.parametrize(
    ("wall", "zone", "gap"),
    [
        # published: IANA time zone data
        ("2027-03-14T02:00", "America/New_York", "from 02:00 to 03:00"),
        ("2027-03-14T02:59", "America/New_York", "from 02:00 to 03:00"),
        ("2027-03-14T03:00", "America/New_York", None),
        ("2027-03-14T01:59", "America/New_York", None),
        ("2027-03-28T02:30", "Europe/Berlin", "from 02:00 to 03:00"),
        ("2026-10-04T02:15", "Australia/Lord_Howe", "from 02:00 to 02:30"),
        ("2027-03-14T02:30", "America/Phoenix", None),
        ("2011-12-30T12:00", "Pacific/Apia", "from 00:00 to 00:00"),  # a whole day left out
    ],
)
def test_minutes_that_do_not_exist(wall: str, zone: str, gap: str | None) -> None:
    told = missing(datetime.fromisoformat(wall), ZoneInfo(zone))
    if gap is None:
        assert told is None
    else:
        assert told is not None
        assert told.endswith(f"the clocks go {gap}.")


def test_minutes_that_come_twice() -> None:
    new_york = ZoneInfo("America/New_York")
    # published: IANA time zone data, clocks back on 7 November 2027 at 02:00
    assert comes_twice(datetime(2027, 11, 7, 1, 0), new_york)
    assert not comes_twice(datetime(2027, 11, 7, 2, 0), new_york)
    assert not comes_twice(datetime(2027, 3, 14, 2, 30), new_york)
