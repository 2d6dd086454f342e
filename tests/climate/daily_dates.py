"""The dates of the daily questions that depend on the demo's plan.

``python -m tests.climate.daily_dates`` writes them into docs/daily-questions.md.
"""

from __future__ import annotations

import re
import tempfile
from collections.abc import Callable
from datetime import datetime, time, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

from tackfree.service.pipeline import Pipeline

PAGE = Path(__file__).resolve().parents[2] / "docs" / "daily-questions.md"
MONDAY = 0


def commands(page: str) -> dict[int, str]:
    """The command that the page gives for each question."""
    rows = re.findall(r"^\| (\d+) \|.*?`tackfree ([^`]+)`", page, re.M)
    return {int(number): command for number, command in rows}


def dated(page: str, made: Pipeline) -> str:
    """The page with a halt of work and a moment at which the plan's coats are past."""
    for question, of in ((3, next_morning), (4, next_monday)):
        stop, at = missed(made, of)
        page = re.sub(
            rf"(^\| {question} \|.*?--at )\S+ --stop [^`]+`",
            rf"\g<1>{at:%Y-%m-%dT%H:%M} --stop {stop:%Y-%m-%dT%H:%M}`",
            page,
            flags=re.M,
        )
    return page


def next_morning(at: datetime) -> datetime:
    """The first 07:00 from a moment on."""
    same = datetime.combine(at.date(), time(7), at.tzinfo)
    return same if same >= at else same + timedelta(days=1)


def next_monday(at: datetime) -> datetime:
    """The first Monday, 07:00, from a moment on."""
    found = next_morning(at)
    return found + timedelta(days=(MONDAY - found.weekday()) % 7)


def missed(made: Pipeline, of: Callable[[datetime], datetime]) -> tuple[datetime, datetime]:
    """The first evening of the plan after which a window is over soon: the halt, and when.

    Work halts at 18:00 of a day on which a coat went down whose follower comes later;
    looked at is the moment ``of`` gives for the end of its window, at most four days on.
    """
    zone = ZoneInfo(made.job.place.time_zone)
    begins: dict[str, list[float]] = {}
    for line in made.clocks:
        begins.setdefault(line.section_id, []).append(line.clock.placed_from_utc_s)
    for line in sorted(made.clocks, key=lambda x: (x.clock.placed_to_utc_s, x.section_id)):
        clock = line.clock
        if clock.recoat_before_utc_s is None:
            continue
        down = datetime.fromtimestamp(clock.placed_to_utc_s, zone)
        stop = datetime.combine(down.date(), time(18), zone)
        later = [s for s in begins[line.section_id] if s > clock.placed_from_utc_s]
        if down > stop or not later or min(later) <= stop.timestamp():
            continue
        at = of(datetime.fromtimestamp(clock.recoat_before_utc_s, zone) + timedelta(minutes=5))
        if at - stop <= timedelta(days=4):
            return stop, at
    raise AssertionError("no window of the demo's plan ends within four days of a halt")


def main() -> None:
    from tackfree.service import job

    with tempfile.TemporaryDirectory() as folder:
        job.new(Path(folder) / "job", demo=True)
        page = dated(PAGE.read_text("utf-8"), Pipeline.of(Path(folder) / "job"))
    PAGE.write_text(page, "utf-8")


if __name__ == "__main__":
    main()
