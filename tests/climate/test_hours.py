"""A season's legal start hours: the demo's year and two other places, as the docs print them."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pvlib
import pytest
from typer.testing import CliRunner

from tackfree.bundle.load import load
from tackfree.bundle.new import copy_bundle
from tackfree.cli.weather import weather
from tackfree.errors import InputError
from tackfree.service import hours

ROOT = Path(__file__).resolve().parents[2]
PAGE = ROOT / "docs" / "legal-hours.md"
SAND_POINT = Path(pvlib.__file__).parent / "data" / "703165TY.csv"
CHICAGO = "epw_chicago_ohare_725300_tmy3.epw.gz"
SEASON = ("04", "05", "06", "07", "08", "09", "10")
HEAD = """# Legal start hours, month by month

How many hours of each month a coat of the demo job may be started in, with its invented but
ordinary sheets (40 or 45 to 95 °F slab, 5 °F above the dew point until tack-free, 4 to 8 h
without rain), its two shifts with lights in the evening, and placings of 4 h: GO and MEASURE
together. Where a month has none, the cell names what stands most often in the way of a lit
start. Three typical years, each made of real months: the demo's own, a colder city, and an
island of the far north. From April to October no coat of the first two is ever at nought.
On the island the slab is too cold for these sheets outside June to September: such a job needs
sheets with a lower least temperature, or heat.

Made by `tackfree weather hours demo/job`, for another place with `--file`, `--zone` and,
where the file lacks rain, `--lacking-rain-is-dry`. A test makes this page again and compares
(`tests/climate/test_hours.py`, written anew with `--rewrite-golden`). A typical year is no
forecast, and never replaces a reading on the slab.

"""


@pytest.fixture(scope="module")
def job(tmp_path_factory):
    return load(copy_bundle(ROOT / "demo" / "job", tmp_path_factory.mktemp("year") / "job"))


@pytest.fixture(scope="module")
def years(job, shared):
    return (
        hours.year_of(job),
        hours.year_of(
            job, shared / "weather" / CHICAGO, "America/Chicago", lacking_rain_is_dry=True
        ),
        hours.year_of(job, SAND_POINT, "America/Anchorage", lacking_rain_is_dry=True),
    )


@pytest.mark.outside
def test_no_month_of_the_season_is_without_hours(years):
    for year in years[:2]:
        season = [r for r in year.rows if r.month[-2:] in SEASON]
        assert len({r.month for r in season}) == 7
        assert min(r.go_h + r.measure_h for r in season) > 0


@pytest.mark.outside
def test_every_month_without_hours_says_why(years):
    none = [r for y in years for r in y.rows if r.go_h + r.measure_h == 0]
    assert none
    for row in none:
        assert row.held_by
        assert row.wait_h + row.unknown_h > 0
        assert hours.held(row.held_by)
    # practice: a northern winter is too cold to coat in
    january = [r for r in none if r.month == "2027-01"]
    assert {"climate.wait.surface_low"} <= {r.held_by for r in january}


@pytest.mark.outside
def test_the_page_of_the_docs_is_what_the_command_gives(years, pytestconfig):
    text = HEAD + "\n".join(hours.markdown(y) for y in years)
    if pytestconfig.getoption("--rewrite-golden"):
        PAGE.write_text(text, "utf-8")
    assert PAGE.read_text("utf-8") == text


def test_rain_that_a_file_lacks_is_unknown_unless_it_is_asked_for(job):
    short = replace(
        job,
        build_ups={
            k: replace(b, coats=b.coats[:1])
            for k, b in job.build_ups.items()
            if k == "BU-STALL"
        },
    )  # fmt: skip
    strict = hours.year_of(short, SAND_POINT, "America/Anchorage")
    july = [r for r in strict.rows if r.month == "2027-07"]
    by_exposure = {r.exposure.value: r for r in july}
    assert by_exposure["open-sky"].go_h == 0
    assert hours.held(by_exposure["open-sky"].held_by) == "rain not known"
    assert by_exposure["covered"].go_h > 0  # no rain reaches it
    assert strict.rain_taken_dry_h == 0


def test_a_years_hours_need_a_typical_year_and_a_zone(job, tmp_path):
    with pytest.raises(InputError, match="no time zone"):
        hours.year_of(job, SAND_POINT, "Mars")
    with pytest.raises(InputError, match="need a typical year"):
        hours.year_of(replace(job, weather=replace(job.weather, kind="forecast")))


def test_the_command_prints_the_months(job):
    done = CliRunner().invoke(weather, ["hours", str(job.root), "--placing", "2"])
    assert done.exit_code == 0, done.output
    shown = done.output
    assert "for placings of 2 h" in shown
    assert all(m in shown for m in hours.MONTHS)
    row = next(line for line in shown.splitlines() if line.startswith("open-sky"))
    assert np.isfinite([float(x) for x in row.split()[-6:]]).all()
