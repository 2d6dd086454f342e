"""Fitting from files: measured weather of a real kind, readings of a deck."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime
from types import SimpleNamespace

import numpy as np
import pytest
from tests.climate.jobs import job

from tackfree.climate.slab import SlabCase, slab_trace
from tackfree.climate.typical import lay_typical
from tackfree.deck.types import Exposure
from tackfree.errors import InputError, NotFound
from tackfree.intake.weather import read_weather
from tackfree.service import calibrate


@pytest.fixture(scope="module")
def made(shared):
    it = job(shared / "weather" / "tmy3_greensboro_723170.csv.gz")
    measured = replace(it, weather=replace(it.weather, kind="measured"), starts_on=date(2027, 5, 6))
    start = int(datetime(2027, 5, 1, 5, tzinfo=UTC).timestamp())
    year = read_weather(it.weather.file)
    return SimpleNamespace(
        job=measured, weather=lay_typical(year, start_utc_s=start, intervals=24 * 9)
    )


def write(made, path, hours):
    truth = slab_trace(made.weather, [SlabCase(absorptance=0.8, wind_factor=0.4)]).surface_c[0]
    ends = made.weather.start_utc_s + 3600 * np.arange(1, len(made.weather) + 1)
    rows = ["time (UTC),Deck °F"]
    for h in hours:
        stamp = datetime.fromtimestamp(int(ends[h]), UTC)
        rows.append(f"{stamp:%Y-%m-%d %H:%M},{truth[h] * 1.8 + 32:.1f}")
    path.write_text("\n".join(rows) + "\n", "utf-8")
    return path


@pytest.mark.outside
def test_readings_of_a_file_are_fitted(made, tmp_path):
    file = write(
        made, tmp_path / "deck.csv", [24 * d + h for d in (3, 4, 5) for h in (4, 7, 11, 13, 16)]
    )
    where, found = calibrate.fit(made, file, "open-sky", None)
    # exact: the readings are the model's own at 0.80 and 0.40, in tenths of a degree
    assert found.case.absorptance == pytest.approx(0.80, abs=0.03)
    assert found.case.wind_factor == pytest.approx(0.40, abs=0.06)
    assert where is Exposure.OPEN_SKY
    assert calibrate.document(where, found)["readings"] == 15
    assert "4 to 7 °F" in calibrate.text(where, found)


@pytest.mark.outside
def test_what_cannot_be_fitted_is_refused(made, tmp_path):
    few = write(made, tmp_path / "few.csv", [80, 84])
    with pytest.raises(InputError, match="too few readings"):
        calibrate.fit(made, few, "open-sky", None)
    with pytest.raises(NotFound, match="no exposure 'roof'"):
        calibrate.fit(made, few, "roof", None)
    with pytest.raises(NotFound, match="no such file"):
        calibrate.fit(made, tmp_path / "none.csv", "open-sky", None)
    air = tmp_path / "air.csv"
    air.write_text("time (UTC),T °C\n2027-05-02 10:00,5\n2027-05-02 11:00,5\n", "utf-8")
    with pytest.raises(InputError, match="surface temperature"):
        calibrate.fit(made, air, "open-sky", None)
    typical = SimpleNamespace(
        job=replace(made.job, weather=replace(made.job.weather, kind="typical-year")),
        weather=made.weather,
    )
    with pytest.raises(InputError, match="typical year is not the weather"):
        calibrate.fit(typical, few, "open-sky", None)
