"""Weather years for a plan: files of real years, or years made from the job's own file."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import Any

import numpy as np

from tackfree.bundle.types import Job
from tackfree.climate.types import WeatherSeries
from tackfree.errors import InputError
from tackfree.plan.again import Way
from tackfree.plan.stress import Stressed, choose, stress, year_of
from tackfree.plan.types import Plan, Problem
from tackfree.service import climate
from tackfree.service.pipeline import Pipeline
from tackfree.service.plan import counts_kits, kits_of, make_plan, make_problem
from tackfree.service.planning.again import ways_again
from tackfree.words import Message

Life = tuple[Problem, dict[tuple[str, str], Way]]
BLOCK_DAYS = 7
DRAWN_WITHIN_DAYS = 14


@dataclass(frozen=True, kw_only=True)
class StressReport:
    """Plans under the same years, the chosen one by its P80, and where the years are from."""

    source: Message
    plans: tuple[Plan, ...]
    stressed: tuple[Stressed, ...]
    chosen: int


def made_year(series: WeatherSeries, number: int, seed: int) -> WeatherSeries:
    """Weather of the same season in another order.

    Every week is drawn whole from the file, up to two weeks before or after its own
    place, so hours, days and fronts stay as measured. Number 0 is the file itself.
    """
    if number == 0:
        return series
    day = 86400 // series.step_s
    count = len(series)
    rng = np.random.default_rng((seed, number))
    rows = np.arange(count)
    for a in range(0, count, BLOCK_DAYS * day):
        b = min(count, a + BLOCK_DAYS * day)
        shift = int(rng.integers(-DRAWN_WITHIN_DAYS, DRAWN_WITHIN_DAYS + 1)) * day
        shift = min(max(shift, -(a // day) * day), (count - b) // day * day)
        rows[a:b] += shift
    columns: dict[str, Any] = {
        f.name: value[rows]
        for f in fields(series)
        if isinstance(value := getattr(series, f.name), np.ndarray)
    }
    return replace(series, **columns)


def stress_job(
    made: Pipeline,
    *,
    years: int = 20,
    files: Sequence[Path] = (),
    plans: int = 1,
    seed: int = 0,
    workers: int = 1,
    address: str | None = None,
) -> StressReport:
    """The job's plan, or the best of several by P80, under many weather years.

    ``files``: weather files of real years, used instead of made ones. ``workers``:
    processes of this machine. ``address``: a Dask scheduler that spreads them instead.
    """
    if years < 1:
        raise InputError(f"{years} years is none.", do="Ask for at least 1.")
    if files:
        source = Message(id="planning.stress.files", values={"n": len(files)})
        tasks = [(made, replace(made.job, weather=replace(made.job.weather, file=f)), 0, seed)
                 for f in files]  # fmt: skip
    else:
        kind = made.job.weather.kind
        source = Message(id="planning.stress.made", values={"n": years, "kind": kind})
        tasks = [(made, made.job, n, seed) for n in range(years)]
    prepared = Pipeline(made.job)
    for name in ("drawings", "takeoff", "sections", "materials"):
        prepared.__dict__[name] = getattr(made, name)
    jobs = [(prepared, job, n, s) for _, job, n, s in tasks]
    lives = _spread(_problem_of, jobs, workers, address)
    labels = [f.name for f in files] or [f"year {n + 1}" for n in range(years)]
    held = [year_of(p, label, ways) for (p, ways), label in zip(lives, labels, strict=True)]
    made_plans = (made.plan, *(
        make_plan(made.problem, seed=seed + n, order=made.job.plan.order)
        for n in range(1, plans)
    ))  # fmt: skip
    if not made.plan.placed:
        raise InputError("there is no plan to try.", do="Ask: tackfree plan why-not.")
    stressed = tuple(stress(p, held) for p in made_plans)
    return StressReport(source=source, plans=made_plans, stressed=stressed, chosen=choose(stressed))


def _problem_of(task: tuple[Pipeline, Job, int, int]) -> Life:
    """The problem under one weather, and what makes up for windows lost in it."""
    prepared, job, number, seed = task
    series = made_year(climate.read_weather(job), number, seed)
    kits = kits_of(prepared.materials) if counts_kits(job) else None
    stage = climate.climate_stage(job, series)
    problem = make_problem(
        job, prepared.sections, stage, decks=prepared.drawings.decks, kits=kits, judged=False
    )
    return problem, ways_again(job, prepared.sections, stage)


def _spread(
    work: Callable[[Any], Life], jobs: Iterable[Any], workers: int, address: str | None
) -> list[Life]:
    if address is not None:
        from distributed import Client

        with Client(address) as client:  # type: ignore[no-untyped-call]
            return list(client.gather(client.map(work, list(jobs))))
    if workers > 1:
        with ProcessPoolExecutor(workers) as pool:
            return list(pool.map(work, jobs))
    return [work(j) for j in jobs]
