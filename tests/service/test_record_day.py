"""The daily report and the delay letter say what was written down, and what is in doubt."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

import pytest
from tests.record.conftest import Phone

from tackfree.errors import InputError
from tackfree.record.entries import append_all
from tackfree.service import job as jobs
from tackfree.service import record
from tackfree.service.recording import day
from tackfree.service.recording.desk import Desk
from tackfree.sheets.daily import render_record_paper, text_of
from tackfree.words import LANGUAGES

ON = date(2026, 4, 20)


@pytest.fixture
def bundle(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.delenv(record.DATABASE, raising=False)
    jobs.new(tmp_path / "job")
    return tmp_path / "job"


class Log:
    """A phone that writes entries at hours of one day."""

    def __init__(self, bundle: Path) -> None:
        self.desk = Desk(bundle=bundle)
        self.job = self.desk.job
        self.phone = Phone()

    def write(self, hour: float, kind: str, body: dict[str, Any]) -> str:
        wall = f"{ON}T{int(hour):02d}:{round(hour % 1 * 60):02d}:00-04:00"
        made = self.phone.note(job=self.job.id, kind=kind, body=body, wall=wall)
        assert append_all(self.desk.record, [made]) == ("stored",), kind
        return str(made["id"])


@pytest.fixture
def log(bundle: Path) -> Log:
    return Log(bundle)


def paper(log: Log, language: str = "en") -> Any:
    job, now, held = day.read(log.desk.bundle)
    return day.day_paper(job, now, ON, day.voice_of(job, language, "us"), held)


def table(found: Any, title: str) -> Any:
    return next(t for t in found.tables if t.title == title)


def full_day(log: Log) -> None:
    place = {"section": "MAIN-1", "coat": "BASE"}
    log.write(
        7,
        "instrument-check",
        {
            "instrument": "G-1",
            "what": "notch-gauge",
            "against": "pour",
            "passed": True,
            "due": "2026-05-01",
            "top_tooth": 40,
        },
    )
    for hour in (7, 8, 9, 10):
        log.write(hour, "conditions", {"slab_c": 20, "air_c": 20, "rh": 0.5, "instrument": "H-2"})
    log.write(
        7.5,
        "delivery",
        {
            "product": "X-B",
            "kits": 10,
            "parts": [
                {"part": "A", "lot": "A1", "count": 10},
                {"part": "B", "lot": "B1", "count": 9},
            ],
        },
    )
    for k, lot in (("K-1", "B1"), ("K-2", "B2"), ("K-2", "B2")):
        log.write(
            9,
            "batch",
            {
                **place,
                "kit": k,
                "product": "X-B",
                "temperature_c": 22,
                "b_in": True,
                "parts": [{"name": "B", "lot": lot}],
            },
        )
    log.write(9.5, "placement", {**place, "kit": "K-1", "area_m2": 30})
    log.write(
        10,
        "film-reading",
        {**place, "x_m": 1, "y_m": 1, "unit": "mil", "wet_tooth": 40, "gauge": "G-1"},
    )
    log.write(
        10,
        "film-reading",
        {
            **place,
            "x_m": 1,
            "y_m": 2,
            "unit": "mil",
            "wet_tooth": 24,
            "dry_tooth": 26,
            "gauge": "G-9",
            "reader": "inspector",
        },
    )
    log.write(11, "aggregate", {**place, "product": "SAND", "bags": 4, "swept_back_kg": 20})
    log.write(11, "detail-length", {"section": "MAIN-1", "detail": "crack", "length_m": 12})
    log.write(
        11,
        "pull-off",
        {"section": "MAIN-1", "set": "1", "fixture": "1", "stress_pa": 1.6e6, "in_concrete": 1},
    )
    for kind, body in (
        ("moisture", {"method": "probe-rh", "value": 0.75}),
        ("flood", {"section": "MAIN-1", "started": "2026-04-20T08:00:00-04:00"}),
        ("slip", {"section": "MAIN-1", "method": "pendulum", "value": 40}),
        ("hardness", {**place, "shore_a": 80}), ("cure-seen", {**place, "tack_free": True}),
        ("weather-event", {"what": "rain", "began": "2026-04-20T13:10:00-04:00"}),
        ("notice", {"point": "BASE", "to": "Engineer", "ready_at": "2026-04-20T12:00:00-04:00"}),
        ("notice-answer", {"notice": "N", "answer": "comes", "who": "E. Roe"}),
        ("hold", {"reason": "dew"}), ("release", {"section": "MAIN-1", "of": "feet", "by": "F"}),
        ("visit", {"who": "I. Roe", "of": "inspector", "saw": "readings", "signed": True}),
        ("defect", {"what": "pinholes", "area_m2": 2}),
        ("repair", {"defect": "D", "action": "filled"}),
        ("area-prepared", {"method": "shot-blast", "area_m2": 100}),
        ("readiness", {"step": "PRIMER", "ready": True}),
        ("crew-hours", {"crew": "CREW-DAY", "people": 4, "hours": 7.5}),
        ("delay", {"cause": "weather", "hours": 2, "people": 4, "what": "rain on the deck",
                   "told": "Owner", "told_at": "2026-04-20T13:20:00-04:00"}),
    ):  # fmt: skip
        log.write(14, kind, body)


def test_the_report_adds_up_and_names_what_is_in_doubt(log: Log) -> None:
    full_day(log)
    found = paper(log)
    hours = table(found, "Crew hours")
    assert hours.rows[0][:4] == ("CREW-DAY", "4", "7.5", "30")  # 4 × 7.5
    assert "8 person-hours lost" in table(found, "Delays").note  # 4 × 2
    assert table(found, "Coats placed").rows[0][2] == "2"
    spread = table(found, "Conditions").rows[0][5]
    # library: psychrometrics, dew point of 20 °C at 50 % is 9.27 °C; 10.73 K is 19.3 °F
    assert spread.replace("\u00a0", " ") == "19.3 °F"
    told = " ".join(found.doubts)
    for part in ("K-2", "B1, B2", "9 usable of part B", "H-2 read 50 %", "over its last tooth",
                 "G-9 has no check"):  # fmt: skip
        assert part in told
    assert "G-1 has no check" not in told
    readers = {row[1] for row in table(found, "Film readings").rows}
    assert readers == {"crew", "inspector"}


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_word_of_the_papers_exists(log: Log, language: str) -> None:
    full_day(log)
    job, now, _ = day.read(log.desk.bundle)
    voice = day.voice_of(job, language)
    both = text_of(paper(log, language)) + text_of(day.delay_letter(job, now, ON, ON, voice, "X"))
    assert "daily." not in both
    assert "record.kind" not in both
    assert len(paper(log, language).tables) == 15


def test_what_is_taken_back_is_not_counted(log: Log) -> None:
    name = log.write(9, "crew-hours", {"crew": "C", "people": 40, "hours": 8})
    log.write(9.1, "crew-hours", {"crew": "C", "people": 4, "hours": 8, "corrects": name})
    gone = log.write(10, "note", {"text": "wrong deck"})
    log.write(10, "correction", {"reason": "slip", "corrects": gone})
    found = paper(log)
    assert [r[1] for r in table(found, "Crew hours").rows] == ["4"]
    assert "wrong deck" not in text_of(found)


def test_a_clock_that_runs_ahead_is_said_and_set_back(bundle: Path) -> None:
    log = Log(bundle)
    made = log.phone.note("early", job=log.job.id, wall="2099-01-01T12:00:00-05:00")
    append_all(log.desk.record, [made])
    _, now, _ = day.read(bundle)
    (e,) = now.counted
    assert now.moment(e).year < 2099
    assert now.ahead_s["PHONE-1"] > 3600


def test_the_letter_lists_delays_with_their_readings(log: Log) -> None:
    full_day(log)
    job, now, _ = day.read(log.desk.bundle)
    voice = day.voice_of(job, "en")
    text = text_of(day.delay_letter(job, now, ON, ON, voice, "the owner"))
    for part in ("2 hours", "8 person-hours", "rain on the deck", "Owner, 2026-04-20 13:20",
                 "Conditions", "the owner"):  # fmt: skip
        assert part in text
    with pytest.raises(InputError, match="no delay"):
        day.delay_letter(job, now, date(2026, 1, 1), date(2026, 1, 2), voice)
    with pytest.raises(InputError):
        day.delay_letter(job, now, ON, date(2026, 1, 2), voice)


def test_the_pdf_is_the_same_each_time_and_holds_the_words(log: Log, tmp_path: Path) -> None:
    full_day(log)
    log.write(15, "note", {"text": "#panic(1) *not markup* $x$"})
    first = render_record_paper(paper(log))
    assert first == render_record_paper(paper(log))
    assert first.startswith(b"%PDF")


def test_a_day_without_entries_says_so(log: Log) -> None:
    assert text_of(paper(log)).count("Nothing was written down") == 1
    with pytest.raises(InputError, match="not a date"):
        day.day_of(log.desk.bundle, "tomorrow")
