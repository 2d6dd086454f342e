"""What in a record cannot be right, or should be looked at: said, never decided."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from itertools import pairwise

from tackfree.record.entries import Entry
from tackfree.service.recording.live import Live, check_of
from tackfree.words import Message

STUCK = 4  # equal readings in a row of a hygrometer, over more than STUCK_H
STUCK_H = 2.0


def doubts(now: Live, entries: Sequence[Entry]) -> tuple[Message, ...]:
    """Doubts about some of the entries, in the light of all.

    A kit logged twice, two lots in one coat of a section, a part that is missing from a
    delivery, a hygrometer that does not move, readings over the gauge's last tooth,
    instruments without a check, second part not ticked, a phone whose clock ran ahead.
    """
    return (
        *_kits_twice(now, entries),
        *_lots(now, entries),
        *_short_deliveries(entries),
        *_stuck(now, entries),
        *_over_the_gauge(now, entries),
        *_unchecked(now, entries),
        *_no_b(entries),
        *_clocks(now, entries),
    )


def _kits_twice(now: Live, entries: Sequence[Entry]) -> Iterator[Message]:
    where: dict[str, list[Entry]] = defaultdict(list)
    for e in now.of("batch"):
        where[e.body["kit"]].append(e)
    here = {e.body["kit"] for e in entries if e.kind == "batch"}
    for kit in sorted(here):
        if len(where[kit]) > 1:
            people = ", ".join(dict.fromkeys(e.person for e in where[kit]))
            values = {"kit": kit, "count": len(where[kit]), "people": people}
            yield Message(id="daily.doubt.kit-twice", values=values)


def _lots(now: Live, entries: Sequence[Entry]) -> Iterator[Message]:
    found: dict[tuple[str, str, str], set[str]] = defaultdict(set)
    for e in now.of("batch"):
        for part in e.body.get("parts", ()):
            found[e.body["section"], e.body["coat"], part["name"]].add(part["lot"])
    places = {(e.body["section"], e.body["coat"]) for e in entries if e.kind == "batch"}
    for (section, coat, part), lots in sorted(found.items()):
        if len(lots) > 1 and (section, coat) in places:
            values = {
                "section": section,
                "coat": coat,
                "part": part,
                "lots": ", ".join(sorted(lots)),
            }
            yield Message(id="daily.doubt.two-lots", values=values)


def _short_deliveries(entries: Sequence[Entry]) -> Iterator[Message]:
    for e in entries:
        if e.kind != "delivery":
            continue
        counts: dict[str, int] = defaultdict(int)
        for part in e.body.get("parts", ()):
            counts[part["part"]] += part["count"] - part.get("damaged", 0)
        for part, count in sorted(counts.items()):
            if count < e.body["kits"]:
                values = {
                    "product": e.body["product"],
                    "part": part,
                    "count": count,
                    "kits": e.body["kits"],
                }
                yield Message(id="daily.doubt.short-part", values=values)


def _stuck(now: Live, entries: Sequence[Entry]) -> Iterator[Message]:
    by: dict[str, list[Entry]] = defaultdict(list)
    for e in entries:
        if e.kind == "conditions" and e.body.get("instrument"):
            by[e.body["instrument"]].append(e)
    for name, rows in sorted(by.items()):
        run = 1
        for before, after in pairwise(rows):
            run = run + 1 if before.body["rh"] == after.body["rh"] else 1
            hours = (now.moment(after) - now.moment(rows[0])).total_seconds() / 3600
            if run == STUCK and hours >= STUCK_H:
                values = {"instrument": name, "count": run, "rh_pct": round(100 * after.body["rh"])}
                yield Message(id="daily.doubt.stuck", values=values)


def _over_the_gauge(now: Live, entries: Sequence[Entry]) -> Iterator[Message]:
    tops: dict[str, tuple[float, str]] = {}
    for e in now.of("instrument-check"):
        if e.body.get("top_tooth") is not None:
            unit = e.body.get("top_tooth_unit") or "mil"
            tops[e.body["instrument"]] = (e.body["top_tooth"], unit)
    counts: dict[str, int] = defaultdict(int)
    for e in entries:
        if e.kind == "film-reading":
            top = tops.get(e.body["gauge"])
            over = top and e.body["unit"] == top[1] and (e.body.get("wet_tooth") or 0) >= top[0]
            if over or e.body.get("dry_tooth") is None:
                counts[e.body["gauge"]] += 1
    for gauge, count in sorted(counts.items()):
        yield Message(id="daily.doubt.over-top", values={"gauge": gauge, "count": count})


def _unchecked(now: Live, entries: Sequence[Entry]) -> Iterator[Message]:
    checks = now.of("instrument-check")
    seen: dict[str, Entry] = {}
    for e in entries:
        name = e.body.get("instrument") or e.body.get("gauge")
        if name and e.kind != "instrument-check":
            seen[name] = e
    for name, e in sorted(seen.items()):
        check = check_of(checks, name, now.moment(e), now)
        if check.state != "checked":
            values = {"instrument": name, "on": check.on, "due": check.due}
            yield Message(id=f"daily.doubt.{check.state}", values=values)


def _no_b(entries: Sequence[Entry]) -> Iterator[Message]:
    for e in entries:
        if e.kind == "batch" and e.body.get("b_in") is False:
            yield Message(id="daily.doubt.no-b", values={"kit": e.body["kit"]})


def _clocks(now: Live, entries: Sequence[Entry]) -> Iterator[Message]:
    for device in sorted({e.device for e in entries}):
        ahead = now.ahead_s.get(device)
        if ahead is not None:
            values = {"device": device, "minutes": round(ahead / 60)}
            yield Message(id="daily.doubt.clock-ahead", values=values)
