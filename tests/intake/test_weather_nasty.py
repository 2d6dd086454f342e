"""Thirty nasty weather inputs and their right answers, against the real files.

Cases 1 to 6, 30 and part of 4 are typical-year files: test_weather.py holds them
too. Each test here is named by its case.
"""

from __future__ import annotations

import gzip
import json
from datetime import UTC, datetime

import numpy as np
import pytest

from tackfree.climate.typical import lay_typical
from tackfree.errors import InputError
from tackfree.intake.weather import Mapping, read_weather
from tackfree.intake.weather.metar import body_temps_c
from tackfree.intake.weather.nws import duration_s, wind_range_m_s
from tackfree.intake.weather.roadstation import readings as road_readings

CHICAGO = "epw_chicago_ohare_725300_tmy3.epw.gz"
GREENSBORO = "tmy3_greensboro_723170.csv.gz"
HEAD = "time (UTC),T °C,RH %\n"


def utc(*when):
    return int(datetime(*when, tzinfo=UTC).timestamp())


def at(series, column, *when):
    """A state at a full hour: the end of the interval before it."""
    return float(getattr(series, column)[(utc(*when) - series.start_utc_s) // 3600 - 1])


def logger(tmp_path, text, mapping=None, name="logger.csv"):
    path = tmp_path / name
    path.write_text(text, "utf-8")
    return read_weather(path, "logger", mapping)


def lines_of(shared, name):
    return gzip.decompress((shared / "weather" / name).read_bytes()).decode("latin-1").splitlines()


def said(series):
    return {m.id.removeprefix("weather."): m.values for m in series.messages}


@pytest.fixture(scope="module")
def gridpoint(shared):
    return read_weather(shared / "weather" / "nws_gridpoint_TBW_2022-02-03.json")


@pytest.fixture(scope="module")
def asos(shared):
    return read_weather(shared / "weather" / "asos_iem_VOHY_2014-03_tab_M-missing.tsv")


@pytest.mark.outside
def test_case_01_first_epw_row_is_an_hour_ending(shared):
    series = read_weather(shared / "weather" / CHICAGO)
    # published: row 1986,1,1,1,0 of the file is 06:00 to 07:00 UTC
    assert series.start_utc_s == utc(1986, 1, 1, 6)
    assert (series.air_c[0], series.dew_c[0]) == (-12.2, -16.1)


@pytest.mark.outside
def test_case_02_months_of_twelve_years_keep_their_order(shared):
    series = read_weather(shared / "weather" / CHICAGO)
    # published: sums over the file's own columns
    assert len(series) == 8760
    assert series.ghi_w_m2.sum() / 1000 == pytest.approx(1406.6, abs=0.1)
    assert series.air_c.mean() == pytest.approx(9.99, abs=0.005)
    years = "1:1986, 2:1977, 3:1985, 4:2002, 5:1980, 6:1979, 7:1986, 8:1989, 9:1987"
    assert f"{years}, 10:1978, 11:1977, 12:1981" in series.origin


@pytest.mark.outside
def test_case_03_minute_60_is_minute_0(shared, tmp_path):
    lines = lines_of(shared, CHICAGO)
    moved = lines[:8] + [",".join([*r.split(",")[:4], "60", *r.split(",")[5:]]) for r in lines[8:]]
    path = tmp_path / "x.epw"
    path.write_text("\n".join(moved), "latin-1")
    got, want = read_weather(path), read_weather(shared / "weather" / CHICAGO)
    assert got.start_utc_s == want.start_utc_s
    assert np.array_equal(got.air_c, want.air_c)


@pytest.mark.outside
def test_case_04_sentinels_do_not_move_a_mean(shared, tmp_path):
    lines = lines_of(shared, CHICAGO)
    plain = read_weather(shared / "weather" / CHICAGO)
    for row in range(4000, 4010):
        parts = lines[row].split(",")
        for index, marker in ((6, "99.9"), (12, "9999"), (13, "9999"), (23, "99")):
            parts[index] = marker
        lines[row] = ",".join(parts)
    path = tmp_path / "x.epw"
    path.write_text("\n".join(lines), "latin-1")
    got = read_weather(path)
    for name in ("air_c", "longwave_w_m2", "ghi_w_m2", "cloud"):
        there = np.isfinite(getattr(got, name))
        assert (~there).sum() == 10
        assert np.array_equal(getattr(got, name)[there], getattr(plain, name)[there])


@pytest.mark.outside
def test_case_05_tmy3_with_24_00_rows(shared):
    series = read_weather(shared / "weather" / GREENSBORO)
    # published: sums over the file's own columns
    assert len(series) == 8760
    assert series.ghi_w_m2.sum() / 1000 == pytest.approx(1566.2, abs=0.1)
    assert series.air_c.mean() == pytest.approx(14.42, abs=0.005)


@pytest.mark.outside
@pytest.mark.parametrize("name", [CHICAGO, GREENSBORO])
def test_case_06_both_typical_years_share_one_clock(shared, name):
    # the readers would have refused half an hour and noted 0.35 h
    assert not {"sun_late", "night_leak"} & said(read_weather(shared / "weather" / name)).keys()


@pytest.mark.outside
def test_case_07_runs_of_the_grid_forecast(gridpoint):
    known = np.flatnonzero(np.isfinite(gridpoint.air_c))
    # published: 154 runs are 182 hours, 2022-02-03 21 UTC to 02-11 10 UTC, no gap
    assert len(known) == 182
    assert (np.diff(known) == 1).all()
    assert np.isfinite(at(gridpoint, "air_c", 2022, 2, 3, 21))
    assert np.isfinite(at(gridpoint, "air_c", 2022, 2, 11, 10))
    assert at(gridpoint, "air_c", 2022, 2, 5, 12) == pytest.approx(3.889, abs=0.001)
    assert np.isfinite(gridpoint.dew_c).sum() == 181


@pytest.mark.outside
def test_case_08_a_run_holds_to_its_end_and_no_further(gridpoint):
    # published: 21:00Z/PT5H has 17.78 °C
    assert at(gridpoint, "dew_c", 2022, 2, 4, 1) == pytest.approx(17.78, abs=0.01)
    assert at(gridpoint, "dew_c", 2022, 2, 4, 2) == pytest.approx(18.33, abs=0.01)


@pytest.mark.outside
def test_case_09_rain_is_a_sum_and_ends_unknown(gridpoint):
    # published: 20.066 mm before and after
    assert np.nansum(gridpoint.rain_mm) == pytest.approx(20.066, abs=0.001)
    last = np.flatnonzero(np.isfinite(gridpoint.rain_mm))[-1]
    assert gridpoint.start_utc_s + 3600 * last == utc(2022, 2, 10, 11)
    assert np.isnan(gridpoint.rain_mm[last + 1 :]).all()
    assert len(gridpoint) > last + 1


@pytest.mark.parametrize(
    ("text", "hours"),
    [("P6DT15H", 159), ("P1DT6H", 30), ("PT1H", 1), ("P7D", 168)],  # exact: 24 h a day
)
def test_case_10_durations_of_days_and_hours(text, hours):
    assert duration_s(text) == hours * 3600


@pytest.mark.parametrize("text", ["", "P", "1H", "PT", "P1Y"])
def test_case_10_what_is_no_duration(text):
    if text == "PT":
        with pytest.raises(InputError):
            duration_s(text)
        return
    with pytest.raises(InputError, match="no duration"):
        duration_s(text)


@pytest.mark.outside
def test_case_11_wind_units_and_ranges(gridpoint):
    # published: 20.372 km/h are 12.66 mph
    assert at(gridpoint, "wind_m_s", 2022, 2, 3, 21) / 0.44704 == pytest.approx(12.66, abs=0.01)
    low, high = wind_range_m_s("10 to 15 mph")
    assert (low / 0.44704, high / 0.44704) == pytest.approx((10, 15))  # exact
    assert all(np.isnan(wind_range_m_s("breezy")))


@pytest.mark.outside
def test_case_12_two_units_in_one_record(shared):
    series = read_weather(shared / "weather" / "nws_hourly_FWD_reanchored.json")
    air, dew = (at(series, n, 2024, 6, 3, 12) * 1.8 + 32 for n in ("air_c", "dew_c"))
    # published: 79 °F and 22.78 °C; the spread of the air is 6, not 56
    assert air == pytest.approx(79, abs=0.01)
    assert dew == pytest.approx(73.0, abs=0.01)
    assert air - dew == pytest.approx(6.0, abs=0.01)
    assert "chance_only" in said(series)


@pytest.mark.outside
def test_case_13_two_one_o_clocks_of_a_november_night(shared, tmp_path):
    document = json.loads(
        (shared / "weather" / "nws_hourly_FWD_reanchored.json").read_text("utf-8")
    )
    period = document["properties"]["periods"][0]
    hours = [f"2024-11-03T{h:02d}:00:00-04:00" for h in range(2)]
    hours += [f"2024-11-03T{h:02d}:00:00-05:00" for h in range(1, 24)]
    document["properties"]["periods"] = [
        period | {"startTime": t, "temperature": 80 + i} for i, t in enumerate(hours)
    ]
    path = tmp_path / "hourly.json"
    path.write_text(json.dumps(document), "utf-8")
    series = read_weather(path)
    assert np.isfinite(series.air_c).sum() == 25  # exact: a day of 25 hours
    fahrenheit = [at(series, "air_c", 2024, 11, 3, h) * 1.8 + 32 for h in (5, 6)]
    assert fahrenheit == pytest.approx([81, 82])


def open_meteo(tmp_path, **hourly):
    count = len(hourly["time"])
    document = {
        "latitude": 41.9, "longitude": -87.6, "utc_offset_seconds": -21600,
        "timezone": "America/Chicago",
        "hourly_units": {"temperature_2m": "°C", "shortwave_radiation": "W/m²",
                         "windspeed_10m": "km/h", "dewpoint_2m": "°C"},
        "hourly": {"temperature_2m": list(range(count)), **hourly},
    }  # fmt: skip
    path = tmp_path / "om.json"
    path.write_text(json.dumps(document), "utf-8")
    return read_weather(path)


def test_case_14_open_meteo_over_a_skipped_hour(tmp_path):
    series = open_meteo(tmp_path, time=[f"2026-03-08T{h:02d}:00" for h in range(24)])
    # exact: the file's own offset of -6 h
    assert at(series, "air_c", 2026, 3, 8, 8) == 2
    assert at(series, "air_c", 2026, 3, 8, 9) == 3
    assert np.isfinite(series.air_c).sum() == 24


def test_case_15_radiation_precedes_its_label_and_null_stays_missing(tmp_path):
    time = [f"2026-06-08T{h:02d}:00" for h in range(10, 16)]
    sun = [500.0, 600.0, 700.0, 800.0, 790.0, 780.0]
    dew = [5.0, None, None, None, 5.0, 5.0]
    wind = [9.0] * 6
    series = open_meteo(
        tmp_path,
        time=time,
        temperature_2m=[20.0] * 6,
        shortwave_radiation=sun,
        dewpoint_2m=dew,
        windspeed_10m=wind,
    )
    noon = (utc(2026, 6, 8, 17) - series.start_utc_s) // 3600  # 11:00 to 12:00 at -6 h
    assert series.ghi_w_m2[noon] == 700
    assert series.tags["ghi_w_m2"] == "preceding"
    assert series.wind_m_s[0] == pytest.approx(2.5)  # exact: 9 km/h
    assert np.isnan(series.dew_c[1:4]).all()


@pytest.mark.outside
def test_case_15_the_real_open_meteo_file(shared):
    series = read_weather(shared / "weather" / "openmeteo_forecast_2026-10-03_trimmed.json")
    assert at(series, "air_c", 2026, 10, 2, 22) == 11.8  # published: first row, offset 2 h
    assert "CC BY 4.0" in series.origin


@pytest.mark.outside
def test_case_16_gaps_of_nine_hours_stay_unknown(asos, shared):
    lines = (
        (shared / "weather" / "asos_iem_VOHY_2014-03_tab_M-missing.tsv").read_text().splitlines()
    )
    stamps = [
        datetime.fromisoformat(x.split("\t")[1]).replace(tzinfo=UTC).timestamp()
        for x in lines if x.startswith("VOHY")
    ]  # fmt: skip
    assert len(stamps) == 414  # published
    assert said(asos)["missing_air"] == {"count": 5}  # published
    gaps = np.diff(stamps) / 3600
    for hours, count in ((2, 62), (3, 22), (9, 28)):  # published
        assert (gaps == hours).sum() == count
    ends = asos.start_utc_s + 3600 * np.arange(1, len(asos) + 1)
    long = np.flatnonzero(gaps == 9)
    for i in long:
        inside = (ends > stamps[i] + 1800) & (ends < stamps[i + 1])
        assert np.isnan(asos.air_c[inside]).all()
    rh = [
        float(x.split("\t")[4]) for x in lines if x.startswith("VOHY") and x.split("\t")[4] != "M"
    ]
    assert (min(rh), max(rh)) == pytest.approx((12, 88), abs=0.5)
    assert np.nanmin(asos.rh) >= 0.12
    assert np.nanmax(asos.rh) <= 0.885


def test_case_17_a_trace_is_wet_without_an_amount(tmp_path):
    head = "station,valid,tmpf,dwpf,relh,sknt,p01i,alti,wxcodes,metar\n"
    row = "XXX,2024-05-01 {:02d}:52,60.0,50.0,70,5,{},30.0,M,XXX\n"
    path = tmp_path / "asos.csv"
    amounts = ["0.00", "T", "M", "0.10"]
    path.write_text(head + "".join(row.format(h, p) for h, p in enumerate(amounts)), "utf-8")
    series = read_weather(path)
    assert series.wet.tolist() == [False, True, False, False]
    assert series.rain_mm[:2].tolist() == [0.0, 0.0]
    assert np.isnan(series.rain_mm[2])
    assert series.rain_mm[3] == pytest.approx(2.54)  # exact: 0.1 in


@pytest.mark.outside
def test_case_18_tenths_of_the_remark_beat_the_body(shared):
    lines = (shared / "weather" / "metar_iem_CVG_2024-03-01_routine.tsv").read_text().splitlines()
    first = next(x for x in lines if "010052Z" in x)
    # published: T00281106 is 2.8 and -10.6 °C
    assert body_temps_c(first) == (2.8, -10.6)
    series = read_weather(shared / "weather" / "metar_iem_CVG_2024-03-01_routine.tsv")
    assert np.isfinite(series.air_c).sum() == 24


@pytest.mark.parametrize(
    ("report", "air"),
    [("XXXX 010000Z 14003KT 20/ A3002", 20.0), ("XXXX 010000Z 14003KT 13/// Q1015", 13.0),
     ("XXXX 010000Z 14003KT 32/M A2990", 32.0), ("XXXX 010000Z 14003KT A2990", np.nan)],
)  # fmt: skip
def test_case_19_a_report_without_a_dew_point(report, air):
    got, dew = body_temps_c(report)
    assert got == pytest.approx(air, nan_ok=True)
    assert np.isnan(dew)


def test_case_20_a_german_spreadsheet(tmp_path):
    text = "\ufeffDatum;Temp °C;rF %\r\n13.04.2025 14:00;12,5;55,3\r\n13.04.2025 15:00;13,5;50\r\n"
    series = logger(tmp_path, text, Mapping(zone="+02:00"))
    assert at(series, "air_c", 2025, 4, 13, 12) == 12.5
    assert at(series, "rh", 2025, 4, 13, 12) == pytest.approx(0.553)


def test_case_21_a_unit_switched_in_the_file(tmp_path):
    rows = ["74.8", "75.1", "23.9", "24.0"]
    text = "time (UTC),Temp F\n" + "".join(
        f"2025-05-01 {h:02d}:00,{v}\n" for h, v in enumerate(rows)
    )
    with pytest.raises(InputError, match=r"row 4, Temp F: 75\.1 is followed by 23\.9"):
        logger(tmp_path, text)


def test_case_22_dates_that_can_be_read_both_ways(tmp_path):
    head = "date (UTC),T °C\n"
    with pytest.raises(InputError, match="day first and month first"):
        logger(tmp_path, head + "03/04/2025 10:00,5\n03/04/2025 11:00,6\n")
    settled = head + "03/04/2025 10:00,5\n03/04/2025 11:00,6\n25/04/2025 10:00,7\n"
    assert at(logger(tmp_path, settled), "air_c", 2025, 4, 3, 10) == 5
    asked = logger(
        tmp_path, head + "03/04/2025 10:00,5\n03/04/2025 11:00,6\n", Mapping(day_first=False)
    )
    assert at(asked, "air_c", 2025, 3, 4, 10) == 5
    with pytest.raises(InputError, match="some dates are day first and some month first"):
        logger(tmp_path, head + "25/04/2025 10:00,5\n04/25/2025 11:00,6\n")


def test_case_23_a_repeated_hour_is_told_by_its_order():
    from tackfree.intake.weather.logger import readings

    walls = ["01:00", "01:30", "01:00", "01:30", "02:00"]
    text = "time,T °C\n" + "".join(f"2025-11-02 {w},{i}\n" for i, w in enumerate(walls))
    samples, _, _ = readings(text, Mapping(zone="America/New_York"))
    # exact: EDT is UTC-4, EST UTC-5
    want = [utc(2025, 11, 2, 5) + 1800 * i for i in range(5)]
    assert samples.utc_s.tolist() == want


def test_case_23_a_skipped_hour_proves_a_fixed_clock():
    from tackfree.intake.weather.logger import readings

    text = "time,T °C\n2025-03-09 01:30,5\n2025-03-09 02:30,6\n2025-07-01 12:00,6\n"
    samples, messages, _ = readings(text, Mapping(zone="America/New_York"))
    assert samples.utc_s.tolist() == [
        utc(2025, 3, 9, 6, 30), utc(2025, 3, 9, 7, 30), utc(2025, 7, 1, 17),
    ]  # fmt: skip
    assert [m.id for m in messages] == ["weather.fixed_clock"]


def test_case_24_doubled_rows_and_rows_that_disagree(tmp_path):
    day = "2025-05-01"
    rows = [f"{day} 01:00,10,50", f"{day} 02:00,11,50", f"{day} 02:00,11,50"]
    rows += [f"{day} 03:00,12,50", f"{day} 03:00,14,50", f"{day} 07:00,15,50"]
    series = logger(tmp_path, HEAD + "\n".join(rows) + "\n")
    assert said(series)["doubled"] == {"count": 1}
    assert said(series)["clashed"] == {"count": 1}
    assert np.isnan(at(series, "air_c", 2025, 5, 1, 3))
    assert at(series, "air_c", 2025, 5, 1, 2) == 11


@pytest.mark.outside
def test_case_25_all_noughts_are_a_dropout(shared):
    path = shared / "weather" / "roadstation_brenner101_2024-08-27_5min.csv"
    samples, dropped = road_readings(path.read_text("utf-8"))
    assert dropped == 1  # published: the row of 17:59
    gone = np.isnan(samples.columns["surface_c"])
    assert gone.sum() == 1
    assert samples.utc_s[gone] // 60 == utc(2024, 8, 27, 17, 59) // 60
    assert said(read_weather(path))["dropouts"] == {"count": 1}
    twin = shared / "weather" / "roadstation_brenner101_2024-08-27_observation.xml"
    other, _ = road_readings(twin.read_text("utf-8"))
    missing = other.utc_s[np.isnan(other.columns["surface_c"])]
    # published: 9999 at 17:55 and 18:00
    assert {utc(2024, 8, 27, 17, 55), utc(2024, 8, 27, 18)} <= set(missing.tolist())


def test_case_26_humidity_of_nought_over_a_hundred_and_in_fractions(tmp_path):
    rows = [f"2025-05-01 {h:02d}:00,20,{rh}" for h, rh in enumerate([50, 0, 0, 0, 103.4, 60])]
    series = logger(tmp_path, HEAD + "\n".join(rows))
    assert np.isnan(series.rh[1:4]).all()
    assert series.rh[4] == 1.0
    assert {"humidity_zero", "humidity_over"} <= said(series).keys()
    rows = [f"2025-05-01 {h:02d}:00,20,{rh}" for h, rh in enumerate([0.5, 0.6, 0.65])]
    assert logger(tmp_path, HEAD + "\n".join(rows)).rh.tolist() == [0.5, 0.6, 0.65]
    head = "time (UTC),T °C,RH %,Dew °C\n"
    # library: 20 °C and 65 % have a dew point of 13.2 °C (MetPy)
    rows = [f"2025-05-01 {h:02d}:00,20,65,5" for h in range(4)]
    assert said(logger(tmp_path, head + "\n".join(rows)))["dew_rh_apart"] == {"count": 4}


def test_case_27_dew_above_the_air(tmp_path):
    head = "time (UTC),T °C,Dew °C\n"
    rows = [f"2025-05-01 {h:02d}:00,10,{d}" for h, d in enumerate([8, 10.4, 9])]
    series = logger(tmp_path, head + "\n".join(rows))
    assert series.dew_c[1] == 10
    assert said(series)["dew_clipped"] == {"count": 1}
    with pytest.raises(InputError, match="dew point is above the air"):
        logger(tmp_path, head + "\n".join(f"2025-05-01 {h:02d}:00,10,15" for h in range(5)))


@pytest.mark.parametrize(
    "marker", ["-999", "-9999", "-99", "9999", "99.9", "NaN", "---", "Err", "", "M"]
)
def test_case_28_markers_are_missing(tmp_path, marker):
    rows = [f"2025-05-01 {h:02d}:00,{v},50" for h, v in enumerate(
        ["20", marker, marker, marker, "21", "-40.0"]
    )]  # fmt: skip
    series = logger(tmp_path, HEAD + "\n".join(rows))
    assert np.isnan(series.air_c[1:4]).all()
    assert series.air_c[5] == -40.0


def test_case_29_sun_at_night_names_the_time_zone(tmp_path):
    sun = [300.0 if 7 <= h % 24 <= 18 else 0.0 for h in range(24 * 4)]
    rows = [f"2025-06-{1 + h // 24:02d} {h % 24:02d}:00,20,{s}" for h, s in enumerate(sun)]
    text = "time,T °C,Solar W/m2\n" + "\n".join(rows)
    place = {"latitude_deg": 36.1, "longitude_deg": -79.95}
    right = logger(tmp_path, text, Mapping(zone="-05:00", **place))
    assert not {"sun_late", "night_leak"} & said(right).keys()
    with pytest.raises(InputError, match=r"hour\(s\) of night") as fault:
        logger(tmp_path, text, Mapping(zone="+01:00", **place))
    assert "time zone" in fault.value.do


@pytest.mark.outside
def test_case_30_a_leap_year_of_8784_hours_is_kept_whole(shared, tmp_path):
    lines = lines_of(shared, CHICAGO)
    end = next(i for i, x in enumerate(lines[8:], 8) if x.split(",")[1:3] == ["3", "1"])
    extra = [x.split(",") for x in lines[end - 24 : end]]
    for parts in extra:
        parts[2] = "29"
    path = tmp_path / "leap.epw"
    path.write_text("\n".join(lines[:end] + [",".join(p) for p in extra] + lines[end:]), "latin-1")
    series = read_weather(path)
    assert len(series) == 8784
    laid = lay_typical(series, start_utc_s=utc(2028, 1, 1, 6), intervals=8784)
    assert np.array_equal(laid.air_c, series.air_c)


@pytest.mark.outside
def test_a_real_logger_needs_no_mapping(shared):
    series = read_weather(shared / "weather" / "logger_trh_10min_utcplus2.csv")
    # published: first reading 2020-12-18 15:15 at UTC+2, 19.07 °C; two weeks of 10 min
    assert series.start_utc_s == utc(2020, 12, 18, 13)
    assert 335 <= len(series) <= 338
    assert np.isnan(series.rain_mm).all()


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("time,T °C\n2025-05-01 01:00,5\n2025-05-01 02:00,5\n", "time zone of its clock"),
        ("time (UTC),Temp\n2025-05-01 01:00,75\n2025-05-01 02:00,75\n", "does not say its unit"),
        ("time (UTC),T °C\nyesterday,75\n", "row 2: 'yesterday' is no time"),
        ("time (UTC),T °C\n2025-05-01 01:00,5\n", "1 reading"),
        ("", "empty"),
    ],
)
def test_what_a_table_does_not_say_is_asked_for(tmp_path, text, words):
    with pytest.raises(InputError, match=words) as fault:
        logger(tmp_path, text)
    assert fault.value.where == "logger.csv"
    assert fault.value.do


def test_a_mapping_beside_the_file_is_used(tmp_path):
    (tmp_path / "deck.csv").write_text(
        "when;a;b\n03/04/2025 10:00;50,0;40\n03/04/2025 11:00;51,0;40\n", "utf-8"
    )
    (tmp_path / "deck.csv.map.toml").write_text(
        'time = "when"\nzone = "UTC"\nday_first = true\n'
        'columns = { air_c = "a", rh = "b" }\nunits = { air_c = "F" }\n',
        "utf-8",
    )
    series = read_weather(tmp_path / "deck.csv")
    assert at(series, "air_c", 2025, 4, 3, 10) == pytest.approx(10.0)  # exact: 50 °F
    (tmp_path / "deck.csv.map.toml").write_text("colour = 1\n", "utf-8")
    with pytest.raises(InputError, match="colour is not known"):
        read_weather(tmp_path / "deck.csv")
