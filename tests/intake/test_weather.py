"""Typical-year files with their traps."""

from __future__ import annotations

import gzip
from datetime import UTC, datetime

import numpy as np
import pytest

from tackfree.climate.sun import solar_lateness_h
from tackfree.climate.typical import cut, lay_typical
from tackfree.errors import InputError, NotFound
from tackfree.intake.weather import read_weather

CHICAGO = "epw_chicago_ohare_725300_tmy3.epw.gz"
GREENSBORO = "tmy3_greensboro_723170.csv.gz"


@pytest.fixture(scope="module")
def chicago(shared):
    return read_weather(shared / "weather" / CHICAGO, "epw")


@pytest.fixture(scope="module")
def greensboro(shared):
    return read_weather(shared / "weather" / GREENSBORO, "tmy3")


def lines_of(shared, name):
    return gzip.decompress((shared / "weather" / name).read_bytes()).decode("latin-1").splitlines()


def write(tmp_path, lines, name="x.epw"):
    path = tmp_path / name
    path.write_bytes("\n".join(lines).encode("latin-1"))
    return path


def changed(lines, row, field, value):
    out = list(lines)
    parts = out[row].split(",")
    parts[field] = value
    out[row] = ",".join(parts)
    return out


def utc(*when):
    return int(datetime(*when, tzinfo=UTC).timestamp())


@pytest.mark.outside
def test_the_first_epw_row(chicago):
    # published: the file's first row 1986,1,1,1,0 ends at 01:00 in UTC-6
    assert chicago.start_utc_s == utc(1986, 1, 1, 6)
    assert chicago.air_c[0] == -12.2
    assert chicago.dew_c[0] == -16.1


@pytest.mark.outside
def test_the_epw_whole(chicago):
    # published: sums over the file's own columns, from the notes on climate
    assert len(chicago) == 8760
    assert chicago.ghi_w_m2.sum() / 1000 == pytest.approx(1406.6, abs=0.1)
    assert chicago.air_c.mean() == pytest.approx(9.99, abs=0.005)
    assert "1:1986, 2:1977, 3:1985, 4:2002, 5:1980, 6:1979, 7:1986" in chicago.origin


@pytest.mark.outside
def test_the_tmy3_whole(greensboro):
    # published: as above; February is of leap year 1996 and has 28 days
    assert len(greensboro) == 8760
    assert greensboro.ghi_w_m2.sum() / 1000 == pytest.approx(1566.2, abs=0.1)
    assert greensboro.air_c.mean() == pytest.approx(14.42, abs=0.005)
    assert greensboro.start_utc_s == utc(1988, 1, 1, 5)
    # memory: about 1,000 mm of rain fall there in a year; ten times that would be a unit error
    assert 500 < greensboro.rain_mm.sum() < 1500


@pytest.mark.outside
@pytest.mark.parametrize(("name", "longitude"), [("chicago", -87.92), ("greensboro", -79.95)])
def test_the_sun_stands_at_noon_at_noon(request, name, longitude):
    # published: clear-day means of -0.03 and -0.01 h when labels are right
    series = request.getfixturevalue(name)
    middle = series.start_utc_s + 3600 * (np.arange(len(series)) + 0.5)
    late = solar_lateness_h(middle, series.ghi_w_m2, longitude_deg=longitude)
    assert late == pytest.approx(0, abs=0.05)
    for hours in (1, 6, -11):
        moved = solar_lateness_h(middle + 3600 * hours, series.ghi_w_m2, longitude_deg=longitude)
        assert moved == pytest.approx(hours, abs=0.06)


@pytest.mark.outside
def test_minute_60_means_the_same_as_minute_0(shared, tmp_path, chicago):
    lines = lines_of(shared, CHICAGO)
    moved = lines[:8] + [",".join([*r.split(",")[:4], "60", *r.split(",")[5:]]) for r in lines[8:]]
    got = read_weather(write(tmp_path, moved))
    assert got.start_utc_s == chicago.start_utc_s
    assert (got.air_c == chicago.air_c).all()


@pytest.mark.outside
def test_markers_of_missing_values_are_not_values(shared, tmp_path, chicago):
    lines = lines_of(shared, CHICAGO)
    for field, marker in ((6, "99.9"), (13, "9999"), (12, "9999"), (23, "99")):
        for row in range(4000, 4005):  # too long to bridge
            lines = changed(lines, row, field, marker)
    got = read_weather(write(tmp_path, lines))
    gap = slice(4000 - 8, 4005 - 8)
    for name in ("air_c", "ghi_w_m2", "longwave_w_m2", "cloud"):
        assert np.isnan(getattr(got, name)[gap]).all()
        assert np.isfinite(getattr(got, name)).sum() == 8755
    assert np.nanmean(got.air_c) == pytest.approx(chicago.air_c.mean(), abs=0.02)
    assert {m.id for m in got.messages} >= {"weather.unknown.air_c", "weather.unknown.ghi_w_m2"}


@pytest.mark.outside
def test_two_hours_are_bridged_and_counted(shared, tmp_path, chicago):
    lines = lines_of(shared, CHICAGO)
    for row in (4000, 4001):
        lines = changed(lines, row, 6, "99.9")
    got = read_weather(write(tmp_path, lines))
    before, after = chicago.air_c[3991], chicago.air_c[3994]
    # exact: thirds of the way
    assert got.air_c[3992:3994] == pytest.approx(before + (after - before) * np.array([1, 2]) / 3)
    assert any(m.id == "weather.filled" and m.values["count"] == 2 for m in got.messages)


@pytest.mark.outside
def test_humidity_of_nought_and_above_a_hundred(shared, tmp_path):
    lines = changed(changed(lines_of(shared, CHICAGO), 4000, 8, "0"), 4100, 8, "103.4")
    got = read_weather(write(tmp_path, lines))
    ids = {m.id: m.values["count"] for m in got.messages}
    assert ids["weather.humidity_zero"] == 1
    assert ids["weather.humidity_over"] == 1
    assert got.rh[4092] == 1.0
    assert 0 < got.rh[3992] < 1  # from the dew point


@pytest.mark.outside
def test_air_and_dew_swapped_is_refused(shared, tmp_path):
    lines = lines_of(shared, CHICAGO)
    swapped = []
    for line in lines[8:]:
        p = line.split(",")
        p[6], p[7] = p[7], p[6]
        swapped.append(",".join(p))
    with pytest.raises(InputError, match="dew point is above the air"):
        read_weather(write(tmp_path, lines[:8] + swapped))


@pytest.mark.outside
def test_a_wrong_time_zone_is_named(shared, tmp_path):
    lines = changed(lines_of(shared, CHICAGO), 0, 8, "0.0")
    with pytest.raises(InputError, match=r"sun column runs -6\.0 h"):
        read_weather(write(tmp_path, lines))


@pytest.mark.outside
def test_a_missing_or_moved_row_is_named(shared, tmp_path):
    lines = lines_of(shared, CHICAGO)
    with pytest.raises(InputError, match="8,759 hourly rows"):
        read_weather(write(tmp_path, lines[:100] + lines[101:]))
    swapped = [*lines[:100], lines[101], lines[100], *lines[102:]]
    with pytest.raises(InputError, match="row 101 is month 1"):
        read_weather(write(tmp_path, swapped))


@pytest.mark.outside
def test_midnight_written_as_the_next_day(shared, tmp_path, greensboro):
    lines = lines_of(shared, GREENSBORO)
    out = lines[:2]
    days = [line.split(",")[0] for line in lines[2:]]
    for i, line in enumerate(lines[2:]):
        p = line.split(",")
        if p[1] == "24:00":
            p[0] = days[i + 1] if i + 1 < len(days) else "01/01/1989"
            p[1] = "00:00"
        out.append(",".join(p))
    got = read_weather(write(tmp_path, out, "x.csv"), "tmy3")
    assert (got.air_c == greensboro.air_c).all()


@pytest.mark.outside
def test_a_typical_leap_year_is_not_cut(shared, tmp_path):
    lines = lines_of(shared, CHICAGO)
    end = 8 + 59 * 24
    extra = [
        ",".join([p[0], "2", "29", *p[3:]]) for p in (r.split(",") for r in lines[end - 24 : end])
    ]
    got = read_weather(write(tmp_path, lines[:end] + extra + lines[end:]))
    assert len(got) == 8784


@pytest.mark.outside
def test_a_typical_year_on_real_dates(greensboro):
    # exact: 19 April 00:00 standard time is the file's row of day 108 in a common year
    laid = lay_typical(greensboro, start_utc_s=utc(2027, 4, 19, 5), intervals=24 * 400)
    assert (laid.air_c[:24] == greensboro.air_c[108 * 24 : 109 * 24]).all()
    new_year = (utc(2028, 1, 1, 5) - laid.start_utc_s) // 3600
    assert (laid.air_c[new_year : new_year + 24] == greensboro.air_c[:24]).all()
    leap = (utc(2028, 2, 29, 5) - laid.start_utc_s) // 3600
    feb_28 = greensboro.air_c[58 * 24 : 59 * 24]
    assert (laid.air_c[leap - 24 : leap] == feb_28).all()
    assert (laid.air_c[leap : leap + 24] == feb_28).all()
    assert (laid.air_c[leap + 24 : leap + 48] == greensboro.air_c[59 * 24 : 60 * 24]).all()
    assert [m.id for m in laid.messages] == ["weather.leap_day_repeated"]


@pytest.mark.outside
def test_weather_that_ends_too_early_names_both_dates(greensboro):
    first = greensboro.start_utc_s
    with pytest.raises(InputError, match=r"ends 1988-12-31 05:00 UTC, needed until 1989-02-01"):
        cut(greensboro, start_utc_s=first, end_utc_s=utc(1989, 2, 1))
    with pytest.raises(InputError, match=r"begins 1988-01-01 05:00 UTC, needed from 1987-12-01"):
        cut(greensboro, start_utc_s=utc(1987, 12, 1), end_utc_s=utc(1988, 2, 1))
    part = cut(greensboro, start_utc_s=first + 5 * 3600, end_utc_s=first + 9 * 3600)
    assert part.air_c.tolist() == greensboro.air_c[5:9].tolist()


@pytest.mark.parametrize(
    ("name", "format", "text", "error", "words"),
    [
        ("x.epw", "", "PLACE,1", InputError, "not an EPW file"),
        ("x.csv", "tmy3", "a,b\nc,d\n", InputError, "not a TMY3 file"),
        ("x.csv", "grib", "a", InputError, "'grib' is not read"),
        ("x.epw", "", "", InputError, "not an EPW file"),
        ("x.epw", "", "LOCATION,a,b,c,d,e,f,g,h,i", InputError, "not the number it should be"),
    ],
)
def test_what_is_not_weather_is_refused(tmp_path, name, format, text, error, words):
    path = tmp_path / name
    path.write_text(text)
    with pytest.raises(error, match=words) as caught:
        read_weather(path, format)
    assert caught.value.where == name


def test_a_file_that_is_not_there(tmp_path):
    with pytest.raises(NotFound, match="no such weather file"):
        read_weather(tmp_path / "no.epw")
