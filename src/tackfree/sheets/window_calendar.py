"""Recoat windows of what was placed as an iCalendar file, each with an alarm before it shuts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import icalendar

from tackfree.words import say

ALARM_BEFORE = timedelta(hours=3)
PRODID = "-//Tackfree//windows//EN"


@dataclass(frozen=True, kw_only=True)
class Window:
    """From when the next coat may start to when it must be down. Moments in Unix seconds.

    ``coat`` and ``following`` are said in the reader's language; ``opens_utc_s`` is None
    where the weather does not reach it.
    """

    section_id: str
    coat_id: str
    coat: str
    following: str
    placed_utc_s: float  # the last kit
    opens_utc_s: float | None
    shuts_utc_s: float


def windows_calendar(
    job_id: str, job_name: str, zone: ZoneInfo, windows: Sequence[Window], *, language: str = "en"
) -> bytes:
    """A calendar that a phone or an office subscribes to: the same windows, the same bytes.

    An event keeps its UID as long as section and coat stay; its stamp is that of the last
    kit, so that more kits move it.

    Source
    ------
    Published: RFC 5545 (VEVENT 3.6.1, VALARM 3.6.6), RFC 7986 (REFRESH-INTERVAL 5.7).
    """
    calendar = icalendar.Calendar()
    calendar.add("prodid", PRODID)
    calendar.add("version", "2.0")
    calendar.add("x-wr-calname", say("clocks.calendar", language, job=job_name))
    calendar.add("x-wr-timezone", zone.key)
    calendar.add("refresh-interval", timedelta(minutes=15), parameters={"VALUE": "DURATION"})
    for window in sorted(windows, key=lambda w: (w.shuts_utc_s, w.section_id)):
        shuts = datetime.fromtimestamp(window.shuts_utc_s, UTC)
        opens = min(window.opens_utc_s or window.placed_utc_s, window.shuts_utc_s)
        text = say(
            "clocks.calendar-event", language, section=window.section_id, coat=window.coat,
            next=window.following, at=f"{shuts.astimezone(zone):%H:%M}",
        )  # fmt: skip
        event = icalendar.Event()
        event.add("uid", f"{job_id}-{window.section_id}-{window.coat_id}-window@tackfree".lower())
        event.add("dtstamp", datetime.fromtimestamp(int(window.placed_utc_s), UTC))
        event.add("dtstart", datetime.fromtimestamp(int(opens), UTC))
        event.add("dtend", datetime.fromtimestamp(int(window.shuts_utc_s), UTC))
        event.add("summary", text)
        event.add("description", say("clocks.calendar-foot", language))
        alarm = icalendar.Alarm()
        alarm.add("action", "DISPLAY")
        alarm.add("trigger", -ALARM_BEFORE, parameters={"RELATED": "END"})
        alarm.add("description", text)
        event.add_component(alarm)
        calendar.add_component(event)
    return bytes(calendar.to_ical())
