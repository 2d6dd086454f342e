"""Each thing that can be wrong is said once: where, what with its value, what to do."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from tackfree.bundle.load import load
from tackfree.errors import Refused

PRODUCTS, BUILD_UPS, JOB, P1 = "products.toml", "buildups.toml", "job.toml", "decks/P1.toml"


HOLD = """
[[hold_points]]
id = "PRIMED"
after = "PRIMER"
who = "the owner's inspector"
sees = "the primed deck"
notice = "24 h"
"""


def test_a_hold_point_is_read_and_what_it_leaves_out_is_a_default(bundle: Any) -> None:
    bundle.add("spec.toml", HOLD)
    assert bundle.told() == []
    (point,) = load(bundle.root).spec.hold_points
    assert (point.notice_h, point.takes_h, point.hours.weekdays) == (24, 1, (0, 1, 2, 3, 4))
    assert (point.hours.begins.hour, point.hours.ends.hour) == (7, 17)


def test_every_fault_of_hold_points_is_told_at_once(bundle: Any) -> None:
    bundle.add("spec.toml", HOLD)
    bundle.add("spec.toml", HOLD.replace("PRIMER", "LOCK") + 'zones = ["P1-STALL-A", "P9"]\n')
    late = 'build_ups = ["BU-NONE"]\ntakes = "9 h"\nbegins = 08:00:00\nends = 16:00:00\n'
    bundle.add("spec.toml", HOLD.replace('"PRIMED"', '"SEEN"').replace("24 h", "90 d") + late)
    back = "begins = 16:00:00\nends = 08:00:00\n"
    bundle.add("spec.toml", HOLD.replace('"PRIMED"', '"BACK"') + back)
    told = bundle.told()
    for parts in (
        ["hold_points[1].id", "PRIMED is there twice", "hold_points[0].id"],
        ["hold_points[1].zones", "PRIMED: there is no zone P9"],
        ["hold_points[1].after", "there is no step LOCK in BU-STALL", "DETAILS, PREP, PRIMER"],
        ["hold_points[2].build_ups", "SEEN: there is no build-up BU-NONE"],
        ["hold_points[2].takes", "a visit takes 9 h; they come from 08:00 to 16:00"],
        ["hold_points[2].notice", "2160 h of notice are 90 days"],
        ["hold_points[3].ends", "from 16:00 to 08:00"],
    ):
        assert any(all(p in t for p in parts) for t in told), parts
    assert len(told) == 7


def test_the_job_is_in_order(bundle: Any) -> None:
    assert bundle.told() == []


@pytest.mark.parametrize(
    ("file", "old", "new", "parts"),
    [
        # quantities
        (BUILD_UPS, '"25 mil"', '"25"',
         ["buildups.toml, build_ups[0].coats[1].wet_film", "BASE: '25' has no unit", '"25 mil"']),
        (BUILD_UPS, '"25 mil"', "25", ["coats[1].wet_film", "25 is a bare number", '"25 mil"']),
        (BUILD_UPS, '"25 mil"', '"25 gal"', ["wet_film", "is a volume", '"25 mil"']),
        (BUILD_UPS, '"25 mil"', '"0 mil"', ["wet_film", '"0 mil"', "above 0"]),
        (BUILD_UPS, '"25 mil"', '"-3 mil"', ["wet_film", "below zero"]),
        (BUILD_UPS, '"300 ft²/gal"', '"0 ft²/gal"', ["coverage", "above 0"]),
        (BUILD_UPS, '"25 mil"', '"25 mil"\nfilm_scatter = "15 %"',
         ["coats[1].film_scatter", "least_dry"]),
        (BUILD_UPS, 'wet_film = "25 mil"', 'least_dry = "20 mil"\nfilm_scatter = "60 %"',
         ["coats[1].film_scatter", "60 %", "at most 40 %"]),
        (BUILD_UPS, '"25 mil"', '"25 mil"\nleast_dry = "20 mil"',
         ["has both wet_film and least_dry"]),
        (BUILD_UPS, '"25 mil"', "true", ["wet_film", "True is not a film thickness"]),
        (JOB, '"273 m"', '"high"', ["place.altitude", "'high' has no number"]),
        (PRODUCTS, '["2 h", "3 h"]', '["3 h", "2 h"]', ["tack_free", "runs backwards"]),
        (PRODUCTS, '["2 h", "3 h"]', '["2 h"]', ["tack_free", "2 ends, not 1"]),
        (PRODUCTS, '"96 %"', "96", ["products[0].volume_solids", "HEN-P", "For 96 % write 0.96"]),
        (PRODUCTS, '"96 %"', "1.2", ["products[0].volume_solids", "1.2", "over 1"]),
        (PRODUCTS, '"96 %"', "0", ["products[0].volume_solids", "above 0"]),
        # keys, types, words, ids
        (PRODUCTS, "density =", "densty =", ["products[0].densty", "HEN-P", "Write density"]),
        (JOB, "units = ", "metric = 1\nunits = ", ["job.toml, metric", "not known", "Take it out"]),
        (JOB, "people = 7", 'people = "7"', ["crews[0].people", "whole number"]),
        (JOB, "people = 7", "people = 0", ["crews[0].people"]),
        (JOB, "lights = true", 'lights = "yes"', ["shifts[1].lights", "true or false"]),
        (JOB, "latitude_deg = 36.10", "latitude_deg = 361", ["place.latitude_deg", "361"]),
        (JOB, "schema_version = 1", "schema_version = 2", ["schema_version is 2", "one of 1"]),
        (JOB, 'id = "ALDER-ROW"', 'id = "Alder Row"', ["job.toml, id", "capitals"]),
        (JOB, 'units = "us"', 'units = "imperial"', ["units", "'us' or 'si'"]),
        (JOB, 'name = "Alder Row Garage and Flats"\n', "", ["job.toml, name", "missing"]),
        (P1, 'duty = "light"', 'duty = "cars"', ["zones[0].duty", "P1-STALL-A", "extra-heavy"]),
        (P1, 'post_tensioned = "no"\n', "", ["decks/P1.toml, post_tensioned", "missing"]),
        (P1, 'unit = "ft"', 'unit = "feet"', ["decks/P1.toml, unit", "'ft'"]),
        # product sheets
        (PRODUCTS, 'volume_solids = "92 %"\n', "", ["products[1].volume_solids", "HEN-B", "copy"]),
        (PRODUCTS, 'volume = "5 gal"', 'volume = "6 gal"',
         ["products[0].kit.volume", "HEN-P", '"6 gal"', '"2.5 gal" + "2.5 gal"', "18.93 L"]),
        (PRODUCTS, 'at = "50 °F"\ntack', 'at = "75 °F"\ntack', ["cure[1].at", "twice"]),
        (PRODUCTS, '{ at = "75 °F"', '{ at = "93 °F"', ["pot_life[1].at", "twice"]),
        (PRODUCTS, 'pot_life = [', 'open_time = [\n  { at = "75 °F", lasts = "40 min" },\n'
         '  { at = "75 °F", lasts = "50 min" },\n]\npot_life = [',
         ["open_time[1].at", "open time", "twice"]),
        (PRODUCTS, 'recoat_after = ["3 h", "5 h"]', 'recoat_after = ["1 h", "5 h"]',
         ["cure[1].recoat_after", "before tack_free"]),
        (PRODUCTS, 'recoat_before = "36 h"', 'recoat_before = "3 h"',
         ["products[0].recoat_before", "leaves no time", "3 h"]),
        (PRODUCTS, 'hot_from = "95 °F"\n', "", ["products[1].hot_from", "both"]),
        (PRODUCTS, 'recoat_before_hot = "24 h"', 'recoat_before_hot = "72 h"',
         ["recoat_before_hot", "longer than"]),
        (PRODUCTS, 'wet_film_min = "15 mil"', 'wet_film_min = "50 mil"', ["wet_film_min"]),
        (PRODUCTS, 'bag = "50 lb"\n', "", ["products[9].bag", "SAND-1630"]),
        (PRODUCTS, 'firm_after = ["16 h", "24 h"]\n', "", ["products[8].firm_after", "SEAL-1"]),
        (PRODUCTS, 'hazards = ["isocyanate"]', 'hazards = ["isocyanat"]',
         ["products[0].hazards[0]", "HEN-P", "isocyanat", "isocyanate"]),
        # build-ups
        (BUILD_UPS, 'product = "HEN-B"', 'product = "HEN-X"',
         ["build_ups[0].coats[1].product", "no product HEN-X"]),
        (BUILD_UPS, 'product = "HEN-B"', 'product = "HEN-T"',
         ["coats[1].product", "HEN-T is a top", "a base is needed"]),
        (BUILD_UPS, 'product = "SAND-1630"', 'product = "SEAL-1"', ["aggregate.product", "SEAL-1"]),
        (BUILD_UPS, 'sealant_product = "SEAL-1"', 'sealant_product = "HEN-B"', ["sealant_product"]),
        (BUILD_UPS, 'role = "base"', 'role = "sealant"', ["coats[1].role", "no coat of its own"]),
        (BUILD_UPS, 'wet_film = "25 mil"\n', 'wet_film = "41 mil"\n',
         ["coats[1].wet_film", '"41 mil" (1041 µm)', '"40 mil"', "HEN-B"]),
        (BUILD_UPS, 'coverage = "300 ft²/gal"', 'coverage = "600 ft²/gal"',
         ["coats[0].coverage", "wet_film_min of HEN-P"]),
        (BUILD_UPS, 'coverage = "300 ft²/gal"', 'coverage = "300 ft²/gal"\nwet_film = "5 mil"',
         ["coats[0].wet_film", "both"]),
        (BUILD_UPS, 'wet_film = "25 mil"\n', "", ["coats[1].wet_film", "neither"]),
        (BUILD_UPS, 'id = "TOP"', 'id = "BASE"', ["coats[2].id", "there twice"]),
        # the job
        (JOB, "ends_by = 2027-06-25", "ends_by = 2027-04-01", ["starts_on", "2027-04-19"]),
        (JOB, "2027-07-05]", "2027-05-31]", ["holidays[1]", "2 times"]),
        (JOB, '"America/New_York"', '"America/Alder"', ["place.time_zone", "America/Alder"]),
        (JOB, '"America/New_York"', '"../../etc/passwd"', ["place.time_zone"]),
        (JOB, "as_of = 2027-04-12T07:00:00", "as_of = 2027-03-14T02:30:00",
         ["job.toml, as_of", "2027-03-14 02:30 does not exist", "from 02:00 to 03:00"]),
        (JOB, "as_of = 2027-04-12T07:00:00", "as_of = 2027-11-07T01:30:00",
         ["job.toml, as_of", "comes twice", "-0400"]),
        (JOB, "as_of = 2027-04-12T07:00:00", 'as_of = "2027-04-12"', ["as_of", "date and time"]),
        (JOB, 'shifts = ["DAY", "EVE"]', 'shifts = ["DAY", "NIGHT"]', ["shifts[1]", "NIGHT"]),
        (JOB, 'skills = ["prep", "details", "coating"]', 'skills = ["details", "coating"]',
         ["job.toml, crews", "skill prep"]),
        (JOB, 'sweep = "4500 ft²/h"\n', "", ["crews[0].rates.sweep", "no rate for sweep"]),
        (JOB, 'details = "180 ft/h" ', 'details = "180 ft²/h" ', ["rates.details", "length"]),
        (JOB, "weather/723170TYA.CSV", "weather/none.csv", ["weather.file", "missing"]),
        (JOB, "weather/723170TYA.CSV", "../secret.csv", ["weather.file", "out of the bundle"]),
        (JOB, '"BAL-11", "BAL-12"', '"BAL-11", "BAL-13"', ["group_zones[2][1]", "BAL-13"]),
        (JOB, '"BAL-11", "BAL-12"', '"BAL-11", "BAL-05"', ["group_zones[2][1]", "already"]),
        (JOB, '"BAL-11", "BAL-12"', '"BAL-11", "P2-RAMP"', ["group_zones[2]", "differ"]),
        # decks
        (P1, 'build_up = "BU-STALL"', 'build_up = "BU-NONE"', ["zones[0].build_up", "BU-NONE"]),
        (P1, 'build_up = "BU-STALL"\n', "", ["zones[0].build_up", "P1-STALL-A", "missing"]),
        (P1, 'drawing = "P1.dxf"', 'drawing = "P9.dxf"', ["decks/P1.toml, drawing", "P9.dxf"]),
        (P1, 'drawing = "P1.dxf"', 'drawing = "/etc/hosts"', ["drawing", "out of the bundle"]),
        (P1, 'id = "P1-STALL-B"', 'id = "P1-STALL-A"', ["decks/P1.toml, zones[1].id", "twice"]),
        (P1, 'layer = "ZONE-STALL"\nat = ["9 ft", "45 ft"]\n', "", ["zones[0].layer", "outline"]),
        (P1, 'layer = "ZONE-STALL"\n', "layer = \"ZONE-STALL\"\ngeojson_id = 'A'\n", ["both"]),
        (P1, 'width = "0.125 in"\n', "", ["features[5].width", "CRACK-WIDE", "crack"]),
        (P1, 'height = "4 in"\n', "", ["features[7].height", "upturn"]),
        (P1, 'connects = ["street"]', 'connects = ["road"]', ["connects[0]", "road", "street"]),
    ],
)  # fmt: skip
def test_one_thing_wrong_is_one_fault(
    breaks: Callable[..., str], file: str, old: str, new: str, parts: list[str]
) -> None:
    told = breaks(file, old, new)
    for part in parts:
        assert part.lower() in told.lower(), told
    assert told.rstrip().endswith((".", '"')), "a fault ends as a sentence"


def test_every_fault_of_every_file_comes_at_once(bundle: Any) -> None:
    bundle.change(PRODUCTS, '"96 %"', "96").change(PRODUCTS, 'family = "MARL"', "family = 5")
    bundle.change(BUILD_UPS, '"28 mil"', '"28"').change(BUILD_UPS, '"HEN-P"', '"HEN-Q"')
    bundle.change(JOB, "weather/723170TYA.CSV", "weather/x").change(JOB, "people = 7", "people = 0")
    bundle.change(P1, "BU-LANE", "BU-LAIN").change("decks/P2.toml", '"P2.dxf"', '"P3.dxf"')
    bundle.change("spec.toml", '"45 °F"', '"45"')
    with pytest.raises(Refused) as caught:
        load(bundle.root)
    where = {f.where for f in caught.value.faults}
    assert where == {
        "products.toml, products[0].volume_solids",
        "products.toml, products[4].family",
        "buildups.toml, build_ups[1].coats[1].wet_film",
        "buildups.toml, build_ups[0].coats[0].product",
        "job.toml, weather.file",
        "job.toml, crews[0].people",
        "decks/P1.toml, zones[4].build_up",
        "decks/P2.toml, drawing",
        "spec.toml, limits.surface_min",
    }


@pytest.mark.parametrize(
    ("file", "old", "new", "where", "follows"),
    [
        (PRODUCTS, 'id = "SAND-2040"', 'id = "SAND-1630"', "products.toml, products[10].id",
         "there is no product SAND-2040"),
        (JOB, 'id = "EVE"', 'id = "DAY"', "job.toml, shifts[1].id", "there is no shift EVE"),
        (JOB, "[[crews]]", '[[crews]]\nid = "CREW-1"\npeople = 2\nskills = ["prep"]\n'
         'shifts = ["DAY"]\nrates = { prep = "900 ft²/h" }\n[[crews]]',
         "job.toml, crews[1].id", "CREW-1 is there twice"),
        ("decks/P2.toml", 'id = "P2"', 'id = "P1"', "decks/P2.toml, id", "no deck or zone P2"),
        (BUILD_UPS, 'id = "BU-RAMP"', 'id = "BU-LANE"', "buildups.toml, build_ups[2].id",
         "there is no build-up BU-RAMP"),
        ("decks/BAL.toml", 'id = "BAL-12"', 'id = "BAL-11"', "decks/BAL.toml, zones[11].id",
         "There is no zone BAL-12"),
    ],
)  # fmt: skip
def test_an_id_given_twice(
    bundle: Any, file: str, old: str, new: str, where: str, follows: str
) -> None:
    told = bundle.change(file, old, new).told()
    assert any(t.startswith(where) and "there twice" in t for t in told), told
    assert any(follows in t for t in told), told


def test_a_fault_in_one_product_hides_no_other(bundle: Any) -> None:
    bundle.change(PRODUCTS, 'volume_solids = "92 %"\n', "nonsense = 1\n")
    told = bundle.told()
    assert len(told) == 2, told  # the unknown key, and the solids that are missing
    assert not any("no product HEN-B" in t for t in told)


def test_specification_and_sheet_may_leave_no_temperature(bundle: Any) -> None:
    bundle.change("spec.toml", 'surface_min = "45 °F"', 'surface_min = "120 °F"')
    told = bundle.told()
    liquids = 8  # each of the job's liquids has the same maximum
    assert len(told) == liquids
    assert all("spec.toml, limits.surface_min" in t and "48.9 °C" in t for t in told)


def test_a_shift_that_ends_in_the_missing_hour_is_refused(bundle: Any) -> None:
    # published: IANA time zone data, America/New_York 2027: clocks forward on 14 March at 02:00
    bundle.change(JOB, "starts_on = 2027-04-19", "starts_on = 2027-03-01")
    bundle.change(JOB, "ends = 23:30:00", "ends = 02:15:00")
    bundle.change(JOB, '"thu", "fri"]\nbegins = 15:30', '"thu", "fri", "sat"]\nbegins = 15:30')
    (told,) = bundle.told()
    assert "shifts[1].ends" in told
    assert "2027-03-14 02:15 does not exist" in told


@pytest.mark.parametrize(
    ("text", "parts"),
    [
        (b"id = \n", ["job.toml, line 1, column", "not TOML", "id ="]),
        (b'id = "A"\nid = "B"\n', ["line 2", "not TOML"]),
        (b'name = "caf\xe9"\n', ["job.toml", "Line 1 is not UTF-8: byte 0xE9"]),
        (b"[place\n", ["line 1"]),
        (b"", ["missing"]),
        (b"place = 3\nshifts = 4\ncrews = {}\nholidays = [1]\ncutting = []\n", ["place", "shifts"]),
    ],
)
def test_a_job_file_that_cannot_be_read(bundle: Any, text: bytes, parts: list[str]) -> None:
    (bundle.root / JOB).write_bytes(text)
    told = "\n".join(bundle.told())
    for part in parts:
        assert part in told


@pytest.mark.parametrize("file", ["job.toml", "products.toml", "buildups.toml"])
def test_a_file_that_is_missing(bundle: Any, file: str) -> None:
    (bundle.root / file).unlink()
    assert any(t.startswith(f"{file}: The file is missing.") for t in bundle.told())


def test_a_bundle_without_decks_and_without_specification(bundle: Any) -> None:
    (bundle.root / "spec.toml").unlink()
    assert bundle.told() == []
    for path in (bundle.root / "decks").glob("*.toml"):
        path.unlink()
    assert any(t.startswith("decks: There is no deck") for t in bundle.told())


def test_an_empty_folder(tmp_path: Any) -> None:
    with pytest.raises(Refused) as caught:
        load(tmp_path)
    assert [f.where for f in caught.value.faults] == [
        "job.toml", "products.toml", "buildups.toml", "decks",
    ]  # fmt: skip


def test_a_byte_order_mark_is_no_fault(bundle: Any) -> None:
    path = bundle.root / JOB
    path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes())
    assert bundle.told() == []
