"""The crew's own earlier jobs: how far a litre went on each, as a first belief for this one.

They lie as bundles, folders or zips with their records, in ``earlier`` inside the job's own
bundle; the command line may name more.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from tackfree.bundle.read import folder_of
from tackfree.errors import ToolError
from tackfree.service.consumption import kit_entries, ratio_of
from tackfree.service.pipeline import Pipeline
from tackfree.supply.learning import ENOUGH_JOBS
from tackfree.words import say

FOLDER = "earlier"


@dataclass(frozen=True, kw_only=True)
class EarlierJob:
    """One job: of each product how far a litre went against what was worked out (1: as far).

    ``fault`` says why it teaches nothing, or is empty.
    """

    name: str
    ratios: Mapping[str, float]
    fault: str = ""


def bundles_of(bundle: Path) -> tuple[Path, ...]:
    """What lies in the folder of earlier jobs, by name; hidden files are left out."""
    here = folder_of(bundle) / FOLDER
    if not here.is_dir():
        return ()
    return tuple(p for p in sorted(here.iterdir()) if not p.name.startswith("."))


def read_earlier(paths: Iterable[Path]) -> tuple[EarlierJob, ...]:
    """Each job worked out from its own bundle and its own record; a faulty one is told."""
    return tuple(_one(p) for p in paths)


def _one(path: Path) -> EarlierJob:
    try:
        folder = folder_of(path)
        made = Pipeline.of(folder)
        ratios = ratio_of(made, kit_entries(folder / ".tackfree" / "job.sqlite"))
    except ToolError as e:
        return EarlierJob(name=path.name, ratios={}, fault=str(e).splitlines()[0])
    return EarlierJob(name=made.job.name, ratios=ratios)


def history_of(jobs: Sequence[EarlierJob]) -> dict[str, list[float]]:
    """Ratios by product, job by job."""
    out: dict[str, list[float]] = {}
    for j in jobs:
        for product, ratio in j.ratios.items():
            out.setdefault(product, []).append(ratio)
    return out


def told(jobs: Sequence[EarlierJob], bundle: Path, language: str) -> tuple[str, ...]:
    """How to give earlier jobs, how many there are, and what each teaches."""
    taught = sum(bool(j.ratios) for j in jobs)
    head = "none" if not jobs else "few" if taught < ENOUGH_JOBS else "enough"
    out = [
        say(f"film.earlier_{head}", language, folder=str(bundle / FOLDER), count=taught,
            enough=ENOUGH_JOBS)
    ]  # fmt: skip
    for j in jobs:
        if j.fault:
            out.append(say("film.earlier_fault", language, job=j.name, fault=j.fault))
        elif not j.ratios:
            out.append(say("film.earlier_bare", language, job=j.name))
        else:
            went = ", ".join(f"{p} {100 * r:.0f}\u00a0%" for p, r in sorted(j.ratios.items()))
            out.append(say("film.earlier_job", language, job=j.name, went=went))
    return tuple(out)
