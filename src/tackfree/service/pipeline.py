"""The stages of a job, each worked out once, when it is asked for."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path

from tackfree.bundle.types import Job
from tackfree.climate.stage import ClimateStage
from tackfree.climate.types import WeatherSeries
from tackfree.deck.takeoff_types import Takeoff
from tackfree.marks.types import SectionStage
from tackfree.plan.types import Plan, Problem
from tackfree.service import climate, decks, materials, plan, sections
from tackfree.service.clocks import ClockLine, clocks_of
from tackfree.service.job import open_job
from tackfree.service.plan_board import keep
from tackfree.service.price import price_job
from tackfree.supply.price_types import Price
from tackfree.supply.types import Materials


@dataclass(frozen=True)
class Pipeline:
    """One job and its stages; a stage takes what it needs from those before it."""

    job: Job
    stop: Callable[[], bool] | None = field(default=None, compare=False, repr=False)
    told: Callable[[int, int], None] | None = field(default=None, compare=False, repr=False)

    @classmethod
    def of(cls, bundle: Path) -> Pipeline:
        """Open a bundle; every fault at once as ``Refused``."""
        return cls(open_job(bundle))

    @cached_property
    def drawings(self) -> decks.DeckStage:
        return decks.read_decks(self.job)

    @cached_property
    def takeoff(self) -> Takeoff:
        return decks.take_off_job(self.job, self.drawings.decks)

    @cached_property
    def sections(self) -> SectionStage:
        return sections.cut_job(self.job, self.drawings.decks, self.takeoff)

    @cached_property
    def materials(self) -> Materials:
        return materials.materials_for(self.job, self.takeoff, self.sections)

    @cached_property
    def price(self) -> Price:
        return price_job(self.job, self.takeoff, self.sections, self.materials)

    @cached_property
    def weather(self) -> WeatherSeries:
        return climate.read_weather(self.job)

    @cached_property
    def climate(self) -> ClimateStage:
        return climate.climate_stage(self.job, self.weather)

    @cached_property
    def problem(self) -> Problem:
        return plan.make_problem(
            self.job,
            self.sections,
            self.climate,
            decks=self.drawings.decks,
            kits=plan.kits_of(self.materials) if plan.counts_kits(self.job) else None,
        )

    @cached_property
    def plan(self) -> Plan:
        def make(problem: Problem) -> Plan:
            return plan.make_plan(problem, self.stop, order=self.job.plan.order, progress=self.told)

        return keep.kept_plan(self.job.root, self.problem, make(self.problem), again=make)

    @cached_property
    def clocks(self) -> tuple[ClockLine, ...]:
        return clocks_of(self.job, self.sections, self.climate, self.problem, self.plan)
