"""Fetching a forecast, against a local server that replays the recorded files."""

from __future__ import annotations

import json
import threading
import time
from datetime import UTC, datetime, timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import ClassVar

import pytest

from tackfree.errors import InputError, Refused, ToolError
from tackfree.intake.weather import read_weather
from tackfree.service import forecast

NOW = datetime(2026, 10, 3, 9, 30, tzinfo=UTC)


class Replay(BaseHTTPRequestHandler):
    answers: ClassVar[dict[str, bytes]] = {}
    asked: ClassVar[list[str]] = []

    def do_GET(self):
        self.asked.append(self.path)
        if self.path.startswith("/slow"):
            time.sleep(1.0)
        body = next((b for p, b in self.answers.items() if self.path.startswith(p)), None)
        self.send_response(200 if body is not None else 503)
        self.end_headers()
        self.wfile.write(body or b"")

    def log_message(self, *args):
        pass


@pytest.fixture
def server(shared, monkeypatch):
    monkeypatch.setenv(forecast.SWITCH, "on")
    monkeypatch.setenv("no_proxy", "127.0.0.1")
    files = shared / "weather"
    grid = {"properties": {"forecastGridData": "https://elsewhere.example/gridpoints/TBW/1,2"}}
    Replay.answers = {
        "/points/": json.dumps(grid).encode(),
        "/gridpoints/TBW/1,2": (files / "nws_gridpoint_TBW_2022-02-03.json").read_bytes(),
        "/v1/forecast": (files / "openmeteo_forecast_2026-10-03_trimmed.json").read_bytes(),
        "/words/v1/forecast": b"<html>busy</html>",
        "/slow/v1/forecast": b"{}",
    }
    Replay.asked = []
    running = ThreadingHTTPServer(("127.0.0.1", 0), Replay)
    running.handle_error = lambda *_: None  # a client that gave up is not news
    threading.Thread(target=running.serve_forever, daemon=True).start()
    yield f"http://127.0.0.1:{running.server_port}"
    running.shutdown()
    running.server_close()


def get(base, out, service="open-meteo", now=NOW, **more):
    return forecast.fetch(
        latitude_deg=27.9, longitude_deg=-82.4, service=service, out=out, now=now, base=base, **more
    )


def test_fetching_is_off_until_it_is_switched_on(tmp_path, monkeypatch):
    monkeypatch.delenv(forecast.SWITCH, raising=False)
    with pytest.raises(Refused, match="fetching is off"):
        get("http://127.0.0.1:9", tmp_path)
    assert not list(tmp_path.iterdir())


@pytest.mark.outside
def test_open_meteo_is_asked_for_unix_time_and_named(server, tmp_path):
    found = get(server, tmp_path)
    assert "timeformat=unixtime" in Replay.asked[0]
    assert "latitude=27.9000" in Replay.asked[0]
    assert found.series["columns"]["air_c"]["known"] == 3
    assert "CC BY 4.0" in found.attribution
    said = json.loads((tmp_path / f"{found.file.name}.source.json").read_text())
    assert said["fetched_utc"] == NOW.isoformat()
    assert "open-meteo" in forecast.text(found)
    # the file itself does not say when it was made; the note beside it does
    assert read_weather(found.file).issued_utc_s == int(NOW.timestamp())


@pytest.mark.outside
def test_nws_is_asked_for_its_grid_on_the_same_server_only(server, tmp_path):
    found = get(server, tmp_path, "nws")
    assert Replay.asked == ["/points/27.9000,-82.4000", "/gridpoints/TBW/1,2"]
    assert found.series["columns"]["air_c"]["known"] == 182  # published: hours of the file
    assert found.series["issued"] == datetime(2022, 2, 4, 3, 15, 41, tzinfo=UTC)


@pytest.mark.outside
def test_a_young_copy_is_used_and_an_old_one_is_not(server, tmp_path):
    get(server, tmp_path)
    again = get(server, tmp_path, now=NOW + timedelta(minutes=29))
    assert again.from_copy
    assert again.fetched_utc == NOW
    assert len(Replay.asked) == 1
    assert not get(server, tmp_path, now=NOW + timedelta(minutes=31)).from_copy
    assert len(Replay.asked) == 2


@pytest.mark.outside
@pytest.mark.parametrize(
    ("path", "words"),
    [("/nothing", "answered 503"), ("/words", "no JSON"), ("/slow", "did not answer within")],
)
def test_a_server_that_fails_leaves_nothing_behind(server, tmp_path, path, words):
    with pytest.raises(ToolError, match=words):
        get(server + path, tmp_path, timeout_s=0.2)
    assert not list(tmp_path.iterdir())


@pytest.mark.outside
def test_what_cannot_be_asked_for(server, tmp_path):
    with pytest.raises(InputError, match="no service"):
        get(server, tmp_path, "oracle")
    with pytest.raises(InputError, match="is no place"):
        forecast.fetch(latitude_deg=120, longitude_deg=0, service="nws", out=tmp_path, now=NOW)
