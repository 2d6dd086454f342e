"""Hold points: whom a notice went to, and what was answered."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from tackfree.record.entries import Entry
from tackfree.service.recording.day import Voice

KEPT_S = 86_400.0  # an answered notice is shown for a day after it was ready


@dataclass(frozen=True, kw_only=True)
class Stand:
    """One line that wants an eye: the section it is about, and what is said of it."""

    section: str
    said: str


def notices_of(
    counted: Sequence[Entry], voice: Voice, *, at_utc_s: float, section: str | None = None
) -> tuple[Stand, ...]:
    """Notices with their answers; of the whole job only those that are open or of late."""
    answers = {e.body["notice"]: e for e in counted if e.kind == "notice-answer"}
    found = []
    for e in counted:
        if e.kind != "notice" or (section is not None and e.body.get("section") != section):
            continue
        ready = datetime.fromisoformat(e.body["ready_at"])
        answer = answers.get(e.id)
        late = at_utc_s - ready.timestamp() > KEPT_S
        if answer is not None and section is None and late:
            continue
        if answer is None:
            what = voice.word("now.no-answer")
        else:
            who = str(answer.body.get("who") or answer.person)
            what = voice.word(f"answer.{answer.body['answer']}", who=who)
        at = f"{ready.astimezone(voice.zone):%Y-%m-%d %H:%M}"
        said = voice.word("now.notice", point=e.body["point"], to=e.body["to"], ready=at,
                          answer=what)  # fmt: skip
        found.append(Stand(section=str(e.body.get("section") or ""), said=said))
    return tuple(found)
