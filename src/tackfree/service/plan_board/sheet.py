"""One job's plan as the faces read it: from a bundle, or from a build's folder."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from pydantic import TypeAdapter
from shapely.geometry import shape
from shapely.geometry.base import BaseGeometry

from tackfree.deck.types import FeatureKind
from tackfree.errors import InputError
from tackfree.plan.types import Placed, Plan, Problem
from tackfree.service.plan_board.gone import Counter
from tackfree.service.planning.rules import mouths_of

if TYPE_CHECKING:  # the pipeline holds saved moves, so it stands above this module
    from tackfree.service.pipeline import Pipeline

PLAN_FILE = Path("stages/plan.json")
_PROBLEM: TypeAdapter[Problem] = TypeAdapter(Problem)
_PLAN: TypeAdapter[Plan] = TypeAdapter(Plan)


@dataclass(frozen=True, kw_only=True)
class Place:
    """One section: where it is, its stalls, and those painted numbers that are drawn."""

    id: str
    deck_id: str
    stalls: int = 0
    numbers: tuple[str, ...] = ()
    accessible: int = 0
    area_m2: float = 0.0
    floor: BaseGeometry | None = None  # [m], in the deck's frame
    by_node: Mapping[str, tuple[tuple[str, ...], int]] = field(default_factory=dict)
    """Painted numbers, and accessible stalls, by what they open onto."""


@dataclass(frozen=True)
class Sheet:
    """A plan with its problem and the names people use. Slots are the problem's."""

    job_id: str
    job_name: str
    invented: bool
    as_of: str
    zone: ZoneInfo
    problem: Problem
    plan: Plan
    places: tuple[Place, ...]

    @cached_property
    def place(self) -> Mapping[str, Place]:
        return {p.id: p for p in self.places}

    @cached_property
    def at(self) -> Mapping[str, Placed]:
        """What is placed, by task."""
        return {p.task_id: p for p in self.plan.placed}

    def time_of(self, slot: float) -> datetime:
        """The job's time of a slot's beginning."""
        utc_s = self.problem.slot0_utc_s + slot * self.problem.slot_s
        return datetime.fromtimestamp(utc_s, UTC).astimezone(self.zone)

    def slot_of(self, moment: datetime) -> int:
        """The slot that holds a moment; a naive one is the job's time."""
        aware = moment if moment.tzinfo else moment.replace(tzinfo=self.zone)
        return int((aware.timestamp() - self.problem.slot0_utc_s) // self.problem.slot_s)

    def day_slots(self, day: date) -> tuple[int, int]:
        """First slot of a date and of the next one; 46 or 50 apart where clocks change."""
        begin, end = (datetime(d.year, d.month, d.day) for d in (day, day + timedelta(days=1)))
        return self.slot_of(begin), self.slot_of(end)

    @cached_property
    def days(self) -> tuple[date, ...]:
        """Every date from the first step to the last opening."""
        ends = [p.end - 1 for p in self.plan.placed] + list(self.plan.opens.values())
        if not ends:
            return ()
        first = self.time_of(min(p.start for p in self.plan.placed)).date()
        last = self.time_of(max(ends)).date()
        return tuple(first + timedelta(days=i) for i in range((last - first).days + 1))

    @cached_property
    def gone(self) -> Counter:
        """Stalls closed and cut off, at any moment."""
        return Counter(self.problem, self.plan)

    @cached_property
    def closed(self) -> Mapping[str, tuple[int, int]]:
        """Slots ``[begin, end)`` in which a section is closed to cars; end the horizon if never."""
        return {name: (spans[0][0], spans[-1][1]) for name, spans in self.gone.spans.items()}

    def on(self, day: date) -> tuple[Placed, ...]:
        """What is done on a date, in order of time."""
        begin, end = self.day_slots(day)
        found = (p for p in self.plan.placed if p.start < end and p.end > begin)
        return tuple(sorted(found, key=lambda p: (p.start, p.crew_id, p.task_id)))

    def shut_on(self, day: date) -> tuple[Place, ...]:
        """Sections with stalls that are closed at some time of a date."""
        begin, end = self.day_slots(day)
        return tuple(
            p
            for p in self.places
            if p.stalls and p.id in self.closed
            and self.closed[p.id][0] < end and self.closed[p.id][1] > begin
        )  # fmt: skip


def sheet_of(path: Path) -> Sheet:
    """The plan of a bundle (worked out now) or of the folder a build wrote (read).

    Raises
    ------
    InputError, Refused
        If there is neither, or the plan cannot be read.
    """
    from tackfree.service.pipeline import Pipeline

    return built_sheet(path) if (path / PLAN_FILE).is_file() else made_sheet(Pipeline.of(path))


def built_sheet(out: Path) -> Sheet:
    """The plan that a build wrote."""
    stage = _read(out / PLAN_FILE)
    sections = _read(out / "stages/sections.json").get("sections", [])
    drawn = _read(out / "stages/stalls.json").get("stalls", []) if (
        out / "stages/stalls.json"
    ).is_file() else []  # fmt: skip
    job = _read(out / "summary.json").get("job", {})
    try:
        problem = _PROBLEM.validate_python(stage["problem"])
        plan = _PLAN.validate_python(stage["plan"])
        strange = {p.task_id for p in plan.placed} - {t.id for t in problem.tasks}
        strange |= {p.crew_id for p in plan.placed} - {c.id for c in problem.crews}
        if strange:
            raise ValueError(f"its problem does not know {min(strange)}")
    except (ValueError, KeyError, TypeError) as error:
        raise InputError(
            f"it holds no plan with its problem ({str(error).splitlines()[0]}).",
            where=str(out / PLAN_FILE),
            do="Build the job again.",
        ) from None
    return Sheet(
        job_id=str(job.get("id", out.name)),
        job_name=str(job.get("name", "")),
        invented=bool(job.get("invented", False)),
        as_of=str(job.get("as_of", "")),
        zone=ZoneInfo(str(job.get("time_zone", "UTC"))),
        problem=problem,
        plan=plan,
        places=_places(sections, drawn),
    )


def made_sheet(made: Pipeline) -> Sheet:
    """The plan of an open job."""
    job = made.job
    rows = [
        {"id": s.id, "deck_id": s.deck_id, "stalls": s.stalls, "floor": s.floor,
         "developed_m2": s.developed_m2}
        for s in made.sections.sections
    ]  # fmt: skip
    return Sheet(
        job_id=job.id,
        job_name=job.name,
        invented=job.invented,
        as_of=job.as_of.isoformat(),
        zone=ZoneInfo(job.place.time_zone),
        problem=made.problem,
        plan=made.plan,
        places=_places(rows, stalls_document(made)["stalls"]),
    )


def stalls_document(made: Pipeline) -> dict[str, Any]:
    """Every drawn stall with its painted number and the section that its middle lies in."""
    rows = []
    mouths = mouths_of(made.sections.sections, made.drawings.decks)
    for deck in made.drawings.decks:
        floors = [(s.id, s.floor) for s in made.sections.sections if s.deck_id == deck.id]
        for f in deck.features:
            if f.kind != FeatureKind.STALL:
                continue
            middle = f.geometry.representative_point()
            name = next((n for n, floor in floors if floor.covers(middle)), None)
            rows.append(
                {"deck_id": deck.id, "section_id": name, "number": f.label, "count": f.count,
                 "accessible": f.accessible, "node": mouths.get(f.id) or "",
                 "x_m": round(middle.x, 3), "y_m": round(middle.y, 3)}
            )  # fmt: skip
    return {"stalls": rows}


def _places(sections: list[dict[str, Any]], drawn: list[dict[str, Any]]) -> tuple[Place, ...]:
    out = []
    for s in sections:
        mine = [d for d in drawn if d["section_id"] == s["id"]]
        floor = s.get("floor")
        by_node = {
            node: (
                tuple(d["number"] for d in mine if d.get("node") == node and d["number"]),
                sum(d["count"] for d in mine if d.get("node") == node and d["accessible"]),
            )
            for node in dict.fromkeys(d.get("node") for d in mine)
            if node
        }
        out.append(
            Place(
                id=s["id"],
                deck_id=s["deck_id"],
                stalls=int(s.get("stalls", 0)),
                numbers=tuple(d["number"] for d in mine if d["number"]),
                accessible=sum(d["count"] for d in mine if d["accessible"]),
                area_m2=float(s.get("developed_m2", 0.0)),
                floor=shape(floor) if isinstance(floor, dict) else floor,
                by_node=by_node,
            )
        )
    return tuple(out)


def _read(path: Path) -> dict[str, Any]:
    try:
        found = json.loads(path.read_text("utf-8"))
    except (OSError, ValueError):
        raise InputError(
            "it is missing or torn.", where=str(path), do="Build the job again: tackfree job build."
        ) from None
    if not isinstance(found, dict):
        raise InputError("it is no document of ours.", where=str(path), do="Build the job again.")
    return found
