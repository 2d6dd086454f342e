"""Instruments of a job: their last check, when the next is due, and what was read with them."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import datetime

from tackfree.record.entries import Entry
from tackfree.service.recording.day import Voice
from tackfree.service.recording.live import Live, check_of


@dataclass(frozen=True, kw_only=True)
class Instrument:
    """One instrument as a line: ``state`` is a word of ``daily.check``."""

    name: str
    what: str
    state: str
    state_said: str
    against: str
    count: int
    unchecked: int  # readings made without a check that held
    last: str


def instruments(now: Live, at: datetime, voice: Voice) -> tuple[Instrument, ...]:
    """Every instrument that entries name, those in doubt first."""
    read: dict[str, list[Entry]] = defaultdict(list)
    for e in now.counted:
        name = e.body.get("gauge") or e.body.get("instrument")
        if name and e.kind != "instrument-check":
            read[name].append(e)
    checks = now.of("instrument-check")
    found = []
    for name in sorted(set(read) | {e.body["instrument"] for e in checks}):
        check = check_of(checks, name, at, now)
        mine = [e for e in checks if e.body["instrument"] == name]
        bad = sum(check_of(checks, name, now.moment(e), now).state != "checked"
                  for e in read[name])  # fmt: skip
        said = voice.word(f"check.{check.state}", on=check.on, due=check.due)
        if check.state == "checked" and check.due:
            said += f", {voice.word('check-next', due=check.due)}"
        last = ""
        if read[name]:
            last = f"{now.moment(read[name][-1]).astimezone(voice.zone):%Y-%m-%d %H:%M}"
        found.append(Instrument(
            name=name, what=voice.word(f"tool.{mine[-1].body['what']}") if mine else "",
            state=check.state, state_said=said,
            against=str(mine[-1].body["against"]) if mine else "", count=len(read[name]),
            unchecked=bad, last=last,
        ))  # fmt: skip
    return tuple(sorted(found, key=lambda i: (i.state == "checked", i.name)))
