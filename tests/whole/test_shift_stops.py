"""Every shift sheet of the demo has one huge stop time, and it is one that plan.json allows."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(shutil.which("pdftotext") is None, reason="no pdftotext on this machine"),
]
WORD = re.compile(r'yMin="([\d.]+)" xMax="[\d.]+" yMax="([\d.]+)">([^<]*)<')
ON_FRONT = 4  # placements that one page of the order of work holds
HUGE_PT = 45.0
NAME = re.compile(r"^(\d{4}-\d\d-\d\d)-([A-Z0-9]+)-(BAL|P1|P2)-(CREW-[A-Z0-9-]+)$")
NO_COAT = {"DETAILS", "PREP", "SWEEP", "SWEEP-2", "STRIPE"}


def pages(path: Path) -> list[list[tuple[float, str]]]:
    """The words of each page with the height of their boxes. [pt]"""
    run = subprocess.run(["pdftotext", "-bbox", path, "-"], capture_output=True, check=True)
    text = run.stdout.decode("utf-8")
    return [
        [(float(b) - float(a), word) for a, b, word in WORD.findall(page)]
        for page in text.split("<page ")[1:]
    ]


def huge_times(words: list[tuple[float, str]]) -> list[str]:
    """Times in huge type; a section's name set upright is as high, but no time."""
    return [w for high, w in words if high > HUGE_PT and re.fullmatch(r"\d\d:\d\d", w)]


def test_every_sheet_has_one_huge_stop_time_that_the_plan_allows(demo_out: Path) -> None:
    stage: dict[str, Any] = json.loads((demo_out / "stages/plan.json").read_text("utf-8"))
    job = json.loads((demo_out / "summary.json").read_text("utf-8"))["job"]
    sections = json.loads((demo_out / "stages/sections.json").read_text("utf-8"))["sections"]
    deck_of = {s["id"]: s["deck_id"] for s in sections}
    problem, zone = stage["problem"], ZoneInfo(job["time_zone"])
    limits: dict[str, list[int]] = {}
    at = {p["task_id"]: p for p in stage["plan"]["placed"]}
    for lag in problem["lags"]:
        if lag["down_within"] is not None:
            limit = at[lag["before"]]["start"] + lag["down_within"]
            limits.setdefault(lag["after"], []).append(limit)

    def moment(slot: int) -> datetime:
        utc_s = problem["slot0_utc_s"] + slot * problem["slot_s"]
        return datetime.fromtimestamp(utc_s, UTC).astimezone(zone)

    sheets = sorted((demo_out / "shift").glob("*.pdf"))
    placed = set()
    for path in sheets:
        day, shift, deck, crew = NAME.match(path.stem).groups()  # type: ignore[union-attr]
        span = next(s for s in problem["shifts"] if s["on"] == day and s["shift_id"] == shift)
        work = [p for p in at.values() if p["crew_id"] == crew and deck_of[p["section_id"]] == deck
                and span["begin"] <= p["start"] < span["end"]]  # fmt: skip
        placed |= {p["task_id"] for p in work}
        front, *rest = pages(path)
        huge = huge_times(front)
        assert len(huge) == 1, path.stem
        over = len(work) > ON_FRONT  # the fifth placement and the signatures go overleaf
        assert len(rest) == 1 + over, f"{path.stem}: one front, one back"
        assert huge_times([word for page in rest for word in page]) == []
        signed = rest[0] if over else front
        assert "certifies" in " ".join(w for _, w in signed), f"{path.stem}: signatures in front"
        coats = [p for p in work if p["step_id"] not in NO_COAT] or work
        last = max(coats, key=lambda p: (p["end"], p["start"]))
        # DESIGN section 5: finish-by is rounded down to 5 min, so it is never past its slot.
        end = min([span["end"], *limits.get(last["task_id"], [])])
        hour, minute = map(int, huge[0].split(":"))
        stop = moment(span["begin"]).replace(hour=hour, minute=minute)
        stop += timedelta(days=stop < moment(span["begin"]))  # past midnight
        assert moment(last["end"]) <= stop <= moment(end), path.stem
    assert placed == set(at)
