"""Shift sheets from a plan: what the crew of one shift does on one deck.

Everything arrives as values: the plan and its problem, materials, clocks, and the
climate as arrays and callables. Nothing here reads a file or a clock.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from tackfree.buildup.types import Coat, ProductSheet
from tackfree.bundle.limits import limits_for
from tackfree.bundle.types import Job
from tackfree.climate.types import WeatherSeries
from tackfree.deck.types import Deck, PostTensioned, Section
from tackfree.marks.pace import KIT_TEMP_C, pot_life_minutes, rate_of
from tackfree.plan.holds import Visit, visits_of
from tackfree.plan.types import Crew, Placed, Plan, Problem, ShiftSpan
from tackfree.service.shift_pictures import shift_drawing, shift_strip
from tackfree.service.shift_times import Bound, Clocks, StatesOf, Times, wall
from tackfree.sheets.shift_types import MixCard, Said, ShiftRow, ShiftSheet
from tackfree.supply.types import CoatLine, Materials
from tackfree.units import Kind, System, show
from tackfree.words import Message, say
from tackfree.words.cautions import cautions_for, rules

DECK_PT, DECK_SMALL_PT = 232.0, 166.0  # height of the deck drawing
KITS_LOW_C, KITS_HIGH_C = 33 / 1.8, 48 / 1.8  # practice: kits stored at 65 to 80 °F


@dataclass(frozen=True, kw_only=True)
class ShiftClimate:
    """What a sheet needs of sky and slab.

    ``slab_c`` gives the surface that a section's step works on, at the end of each
    interval of ``weather`` (None: not modelled); ``states`` the start states of a
    section × step; ``dark`` the spans without daylight, Unix seconds.
    """

    weather: WeatherSeries | None = None
    slab_c: Callable[[str, str], NDArray[np.float64] | None] = lambda _section, _step: None
    states: StatesOf = lambda _section, _step: None
    dark: tuple[tuple[float, float], ...] = ()


def shift_sheets(
    job: Job,
    decks: Sequence[Deck],
    sections: Sequence[Section],
    materials: Materials,
    plan: Plan,
    problem: Problem,
    climate: ShiftClimate,
    *,
    clocks: Clocks | None = None,
    revision: str = "1",
    on: date | None = None,
    languages: tuple[str, ...] | None = None,
) -> Iterator[ShiftSheet]:
    """One sheet for every shift, deck and crew that has work, one after the other.

    Parameters
    ----------
    job, decks, sections, materials : the job and what was worked out for it
    plan, problem : the plan and the problem it answers
    climate : ShiftClimate
    clocks : mapping (section id, coat id) -> Clock
        Finer than the plan's slots; may lack entries.
    revision : str
        The plan's revision as people cite it.
    on : date, optional
        Only the shifts that begin on this date.
    languages : tuple, optional
        Sheet languages in order; the job's own otherwise.

    Yields
    ------
    ShiftSheet
        By date, shift, deck, crew.
    """
    maker = _Maker(
        job=job,
        sections={s.id: s for s in sections},
        materials=materials,
        climate=climate,
        times=Times(
            plan=plan,
            problem=problem,
            clocks=clocks or {},
            states=climate.states,
            zone=ZoneInfo(job.place.time_zone),
        ),
        revision=revision,
        languages=languages or job.languages or ("en",),
    )
    crews = {c.id: c for c in problem.crews}
    for span in sorted(problem.shifts, key=lambda s: (s.begin, s.shift_id)):
        if on is not None and span.on != on:
            continue
        work = [p for p in plan.placed if span.begin <= p.start < span.end]
        for deck in decks:
            for crew_id in sorted({p.crew_id for p in work}):
                mine = [
                    p
                    for p in work
                    if p.crew_id == crew_id
                    and p.section_id in maker.sections
                    and maker.sections[p.section_id].deck_id == deck.id
                    and crew_id in crews
                    and span.shift_id in crews[crew_id].shift_ids
                ]
                if mine:
                    mine.sort(key=lambda p: (p.start, p.section_id, p.step_id))
                    yield maker.sheet(span, deck, crews[crew_id], mine)


@dataclass(frozen=True, kw_only=True)
class _Maker:
    job: Job
    sections: Mapping[str, Section]
    materials: Materials
    climate: ShiftClimate
    times: Times
    revision: str
    languages: tuple[str, ...]

    @property
    def units(self) -> System:
        return "si" if self.job.units == "si" else "us"

    def said(self, message: Message | str, **values: object) -> Said:
        """A message in each language of the sheet; step ids become words."""
        return tuple(self._say(message, language, values) for language in self.languages)

    def _say(self, message: Message | str, language: str, values: Mapping[str, object]) -> str:
        found = message if isinstance(message, Message) else Message(id=message, values=values)
        if "step" in found.values:
            step = step_word(str(found.values["step"]), language)
            found = replace(found, values={**found.values, "step": step})
        return say(found, language)

    def sheet(self, span: ShiftSpan, deck: Deck, crew: Crew, work: Sequence[Placed]) -> ShiftSheet:
        times, zone = self.times, self.times.zone
        bounds = {p.task_id: (times.start(p, span), times.finish(p, span)) for p in work}
        rows = tuple(self._row(k, p, crew, *bounds[p.task_id]) for k, p in enumerate(work, start=1))
        liquid = [p for p in work if self._coat(p) is not None] or list(work)
        last = bounds[max(liquid, key=lambda p: (p.end, p.start)).task_id][1]
        night = any(a < times.utc(span.end) and times.utc(span.begin) < b
                    for a, b in self.climate.dark)  # fmt: skip
        drawing, drawing_alt = shift_drawing(
            deck=deck, sections=tuple(self.sections.values()), rows=rows,
            times=times, span=span, max_pt=DECK_PT if len(work) < 3 else DECK_SMALL_PT,
        )  # fmt: skip
        strip, strip_alt = shift_strip(
            span=span, work=work, rows=rows, times=times, weather=self.climate.weather,
            slab_c=self.climate.slab_c(liquid[-1].section_id, liquid[-1].step_id),
            dark=self.climate.dark,
            states=self.climate.states(liquid[-1].section_id, liquid[-1].step_id),
            spread_min_k=self._spread_k(work), stop_utc_s=last.utc_s, units=self.units,
            language=self.languages[0],
        )  # fmt: skip
        begins, ends = (wall(times.utc(s), zone) for s in (span.begin, span.end))
        return ShiftSheet(
            job_id=self.job.id,
            job_name=self.job.name,
            deck_id=deck.id,
            deck_name=deck.name,
            date_iso=span.on.isoformat(),
            date=tuple(date_words(span.on, language) for language in self.languages),
            shift_id=span.shift_id,
            shift_hours=f"{begins}–{ends}",
            crew_id=crew.id,
            people=crew.people,
            revision=self.revision,
            weather=self._weather(),
            stop=wall(last.utc_s, zone),
            stop_why=self.said(last.why),
            rows=rows,
            checks=self._checks(work),
            mixing=self._mixing(work),
            cautions=self._cautions(work, deck, night),
            notes=(*self._notes(deck, work), *self._held(span, deck, work)),
            drawing_svg=drawing,
            drawing_alt=drawing_alt,
            strip_svg=strip,
            strip_alt=strip_alt,
            languages=self.languages,
            made_utc_s=int(self.job.as_of.timestamp()),
            invented=self.job.invented,
        )

    def _coat(self, placed: Placed) -> Coat | None:
        build_up = self.job.build_ups.get(self.sections[placed.section_id].build_up_id)
        coats = build_up.coats if build_up is not None else ()
        return next((c for c in coats if c.id == placed.step_id), None)

    def _line(self, placed: Placed) -> CoatLine | None:
        return next(
            (
                a
                for a in self.materials.coats
                if a.section_id == placed.section_id and a.coat_id == placed.step_id
            ),
            None,
        )

    def _row(
        self, number: int, placed: Placed, crew: Crew, start: Bound, finish: Bound
    ) -> ShiftRow:
        times = self.times
        section = self.sections[placed.section_id]
        row = ShiftRow(
            number=number,
            section_id=placed.section_id,
            step_id=placed.step_id,
            step=tuple(step_word(placed.step_id, language) for language in self.languages),
            area=self._show(section.developed_m2, "area"),
            planned=f"{wall(times.utc(placed.start), times.zone)}–"
            f"{wall(times.utc(placed.end), times.zone)}",
            start_not_before=wall(start.utc_s, times.zone),
            start_why=self.said(start.why),
            finish_by=wall(finish.utc_s, times.zone),
            finish_why=self.said(finish.why),
            next_coat=self._next(placed),
        )
        line, coat = self._line(placed), self._coat(placed)
        if line is not None and coat is not None:
            return self._with_coat(row, placed, crew, line, coat)
        if placed.step_id == "DETAILS":
            return self._with_details(row, placed)
        return row

    def _with_coat(
        self, row: ShiftRow, placed: Placed, crew: Crew, line: CoatLine, coat: Coat
    ) -> ShiftRow:
        sheet = self.job.products.get(line.product_id)
        sand = f"{line.bags} × {line.aggregate_product_id}" if line.aggregate_product_id else ""
        return replace(
            row,
            area=self._show(line.area_m2, "area"),
            product=line.product_id,
            kits=str(line.kits),
            reach=self._show(line.reach_m2, "area"),
            wet_film=self._show(line.wft_um, "film"),
            sand=sand,
            kit_minutes=self._tempo(placed, crew, line, coat),
            pot_life="" if sheet is None else self._pot_life(sheet, placed),
        )

    def _with_details(self, row: ShiftRow, placed: Placed) -> ShiftRow:
        count: dict[str, int] = {}
        for detail in self.materials.details:
            if detail.section_id == placed.section_id and detail.packages:
                count[detail.product_id] = count.get(detail.product_id, 0) + detail.packages
        return replace(
            row,
            product=", ".join(sorted(count)),
            kits=", ".join(f"{n} × {p}" for p, n in sorted(count.items())),
        )

    def _tempo(self, placed: Placed, crew: Crew, line: CoatLine, coat: Coat) -> str:
        """Minutes from kit to kit at the crew's rate, rounded down."""
        rate = rate_of(coat, crew.rates)
        if rate:
            minutes = line.reach_m2 / rate * 60.0
        elif line.kits:
            slots = placed.end - placed.start
            minutes = slots * self.times.problem.slot_s / 60.0 / line.kits
        else:
            return ""
        return f"{max(1, math.floor(minutes + 1e-9))} min"

    def _pot_life(self, sheet: ProductSheet, placed: Placed) -> str:
        """At the warmer of store and air, so that the time can be counted on."""
        air = self._air_at(self.times.utc(placed.start))
        kit_c = KIT_TEMP_C if air is None else max(KIT_TEMP_C, air)
        minutes = pot_life_minutes(sheet.pot_life, kit_c)
        if minutes is None:
            return ""
        return f"{math.floor(minutes + 1e-9)} min · {self._show(kit_c, 'temperature')}"

    def _air_at(self, utc_s: float) -> float | None:
        weather = self.climate.weather
        if weather is None:
            return None
        k = int((utc_s - weather.start_utc_s) // weather.step_s)
        if not 0 <= k < len(weather) or not math.isfinite(weather.air_c[k]):
            return None
        return float(weather.air_c[k])

    def _show(self, value: float, kind: Kind) -> str:
        digits = 0 if kind in ("area", "temperature") else None
        return show(value, kind, self.units, digits, language=self.languages[0])

    def _next(self, placed: Placed) -> Said:
        if self._coat(placed) is None:
            return ()
        found = self.times.next_coat(placed)
        if found is None:
            return ()
        after, before = found
        if after is None:
            return self.said("sheet.after-unknown")
        zone = self.times.zone
        return tuple(
            say(
                "sheet.after" if before is None else "sheet.between",
                language,
                after=moment_words(after, zone, language),
                before="" if before is None else moment_words(before, zone, language),
            )
            for language in self.languages
        )

    def _spread_k(self, work: Iterable[Placed]) -> float | None:
        """The strictest spread limit in force for the products used."""
        lines = (self._line(placed) for placed in work)
        used = {i.product_id for i in lines if i is not None and i.product_id in self.job.products}
        found = (limits_for(self.job, p)[0].spread_min_k for p in used)
        return max((v for v in found if v is not None), default=None)

    def _weather(self) -> Said:
        weather = self.climate.weather
        if weather is None:
            return self.said("sheet.weather.unknown")
        if weather.kind == "forecast" and weather.issued_utc_s is not None:
            age_h = (self.job.as_of.timestamp() - weather.issued_utc_s) / 3600.0
            return self.said("sheet.weather.forecast", hours=f"{max(0.0, age_h):.0f}")
        if weather.kind in ("typical-year", "measured"):
            return self.said(f"sheet.weather.{weather.kind}")
        return self.said("sheet.weather.unknown")

    def _checks(self, work: Sequence[Placed]) -> tuple[Said, ...]:
        out: list[Said] = []
        coats = [p for p in work if self._coat(p) is not None]
        if coats:
            spread = self._spread_k(work)
            if spread is not None:
                shown = self._show(spread, "temperature_step")
                out.append(self.said("sheet.check.spread", spread=shown))
            first = all(self._coat(p) == self._first_coat(p) for p in coats)
            out.append(self.said("sheet.check.surface" if first else "sheet.check.previous"))
            low, high = (self._show(v, "temperature") for v in (KITS_LOW_C, KITS_HIGH_C))
            out.append(self.said("sheet.check.kit-temp", low=low, high=high))
            out.append(self.said("sheet.check.rain"))
            if any(line and line.bags for line in map(self._line, coats)):
                out.append(self.said("sheet.check.sand"))
        if any(p.step_id == "PREP" for p in work):
            out.append(self.said("sheet.check.prep"))
        return tuple(out)

    def _first_coat(self, placed: Placed) -> Coat | None:
        build_up = self.job.build_ups.get(self.sections[placed.section_id].build_up_id)
        return build_up.coats[0] if build_up is not None and build_up.coats else None

    def _products(self, placed: Placed) -> list[ProductSheet]:
        ids: list[str] = []
        line = self._line(placed)
        if line is not None:
            ids += [line.product_id, line.aggregate_product_id or ""]
        if placed.step_id == "DETAILS":
            ids += [
                d.product_id for d in self.materials.details if d.section_id == placed.section_id
            ]
        return [self.job.products[i] for i in dict.fromkeys(ids) if i in self.job.products]

    def _mixing(self, work: Sequence[Placed]) -> tuple[MixCard, ...]:
        cards: dict[str, MixCard] = {}
        for sheet in (s for p in work for s in self._products(p)):
            if sheet.kit is None or sheet.id in cards:
                continue
            parts = " + ".join(
                f"{part.name} {show(part.volume_l, 'volume', self.units)}"
                for part in sheet.kit.parts
            )
            cards[sheet.id] = MixCard(product=sheet.id, parts=parts, steps=sheet.mix_steps)
        return tuple(cards.values())

    def _cautions(self, work: Sequence[Placed], deck: Deck, night: bool) -> tuple[Said, ...]:
        ordered: dict[tuple[str, str], Message] = {}
        for placed in work:
            hazards = {h for sheet in self._products(placed) for h in sheet.hazards}
            step = "COAT" if self._coat(placed) is not None else placed.step_id
            for message in cautions_for(
                step, hazards, deck.post_tensioned.value,
                self.sections[placed.section_id].exposure.value, night,
            ):  # fmt: skip
                ordered.setdefault((message.id, str(message.values.get("hazard", ""))), message)
        rank = {f"caution.{rule.id}": k for k, rule in enumerate(rules())}
        last = {"caution.unlisted": len(rank), "caution.sheet-first": len(rank) + 1}
        found = sorted(ordered.values(), key=lambda m: {**rank, **last}[m.id])
        return tuple(self.said(m) for m in found)

    def _notes(self, deck: Deck, work: Sequence[Placed]) -> tuple[Said, ...]:
        out = []
        if deck.post_tensioned is not PostTensioned.NO:
            out.append(
                tuple(
                    say("sheet.note.tendons", language,
                        state=say(f"state.{deck.post_tensioned.value}-word", language))
                    for language in self.languages
                )
            )  # fmt: skip
        if self.climate.weather is None:
            out.append(self.said("sheet.note.no-weather"))
        for placed in work:
            if self._coat(placed) is not None and self._line(placed) is None:
                out.append(
                    self.said("sheet.note.no-lines", section=placed.section_id, step=placed.step_id)
                )
        return tuple(out)

    def _held(self, span: ShiftSpan, deck: Deck, work: Sequence[Placed]) -> tuple[Said, ...]:
        """Hold points of this deck that this shift works towards, waits for, calls or sees."""
        times = self.times
        mine = {p.task_id for p in work}
        groups: dict[tuple[str, int, int], list[Visit]] = {}
        for v in visits_of(times.problem, times.plan):
            section = self.sections.get(v.hold.section_id)
            now = any(span.begin <= n < span.end for n in (v.begin, v.notice_by))
            if (
                section is not None
                and section.deck_id == deck.id
                and (now or {v.hold.after, v.hold.before} & mine)
            ):
                groups.setdefault((v.hold.id, v.begin, v.notice_by), []).append(v)
        out = []
        for visits in groups.values():
            v = visits[0]
            at, by = (
                [dated_words(times.utc(n), times.zone, language) for language in self.languages]
                for n in (v.begin, v.notice_by)
            )
            step = v.hold.after.split("/", 1)[1]
            sections = ", ".join(x.hold.section_id for x in visits)
            out.append(
                tuple(
                    say("sheet.note.hold", language, sections=sections, who=v.hold.who,
                        step=step_word(step, language), at=at[k], by=by[k])
                    for k, language in enumerate(self.languages)
                )
            )  # fmt: skip
        return tuple(out)


def step_word(step_id: str, language: str) -> str:
    """A step in words; an id without a word stays itself."""
    word = say(f"step.{step_id}", language)
    return step_id if word == f"step.{step_id}" else word


def date_words(on: date, language: str) -> str:
    """A date with its weekday, unmistakable in either language."""
    weekday = say(f"sheet.weekday.{on.weekday()}", language)
    month = say(f"sheet.month.{on.month}", language)
    return f"{weekday} {on.day} {month} {on.year}"


def moment_words(utc_s: float, zone: ZoneInfo, language: str) -> str:
    """Weekday and wall time."""
    at = datetime.fromtimestamp(utc_s, zone)
    return f"{say(f'sheet.weekday.{at.weekday()}', language)} {at:%H:%M}"


def dated_words(utc_s: float, zone: ZoneInfo, language: str) -> str:
    """Weekday, day, month and wall time, for what may lie weeks ahead."""
    at = datetime.fromtimestamp(utc_s, zone)
    weekday = say(f"sheet.weekday.{at.weekday()}", language)
    return f"{weekday} {at.day} {say(f'sheet.month.{at.month}', language)} {at:%H:%M}"
