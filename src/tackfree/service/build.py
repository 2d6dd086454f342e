"""The whole job in one run: drawings and weather in, every sheet out."""

from __future__ import annotations

import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tackfree import __version__
from tackfree.service import documents, marks_papers, papers
from tackfree.service import marks as kit_marks
from tackfree.service.pipeline import Pipeline
from tackfree.service.plan_board.sheet import stalls_document
from tackfree.service.quote import price_document, write_quote
from tackfree.service.save import RECEIPT, dumps, to_json, whole_folder, write_atomic
from tackfree.service.supply import order_stage, order_workbook
from tackfree.service.work import Progress, Work, quiet

STAGES = (
    "read the job",
    "read the drawings",
    "take off",
    "cut sections",
    "materials",
    "slab and air",
    "kit marks",
    "plan",
    "clocks",
    "drawings",
    "order",
    "shift sheets",
    "calendar",
    "summary",
)


@dataclass(frozen=True, kw_only=True)
class BuiltJob:
    """What a build wrote, and how long each stage took."""

    out: Path
    files: tuple[str, ...]
    headline: tuple[str, ...]
    seconds: dict[str, float]
    total_seconds: float

    def lines(self) -> tuple[str, ...]:
        """For people: the sheets with their places, then the headline."""
        shifts = [f for f in self.files if f.startswith("shift/")]
        rest = [f for f in self.files if not f.startswith(("shift/", "stages/"))]
        rows = [
            f"Shift sheets: {len(shifts)}, from {self.out / shifts[0]} to {shifts[-1]}"
            if shifts
            else "Shift sheets: none, as there is no plan",
            *(str(self.out / f) for f in rest),
            f"Stage by stage: {self.out / 'stages'}",
        ]
        return (*rows, "", *self.headline, f"Built in {self.total_seconds:.1f} s.")

    def to_json(self) -> dict[str, Any]:
        return {
            "schema": "tackfree.job-build/1",
            "out": str(self.out),
            "files": list(self.files),
            "seconds": self.seconds,
            "total_seconds": self.total_seconds,
        }


def build(
    bundle: Path,
    out: Path,
    *,
    progress: Progress = quiet,
    stop: Callable[[], bool] = lambda: False,
) -> BuiltJob:
    """Run the whole job of a bundle and write all under ``out``, or nothing.

    Parameters
    ----------
    bundle : Path
        Folder or zip.
    out : Path
        Folder to write; an older output is replaced when the new one is whole.
    progress : callable
        Told the stage, its number and how many there are.
    stop : callable
        Asked before each stage; True ends the work with nothing changed.

    Raises
    ------
    Refused
        With every fault of the bundle and its drawings.
    InputError
        For a fault found later, or an ``out`` that is not ours to replace.
    """
    begun = time.perf_counter()
    work = Work(STAGES, progress, stop)
    with whole_folder(out) as fresh:

        def write(name: str, data: str | bytes) -> None:
            write_atomic(fresh / name, data)

        def stage_file(name: str, document: dict[str, Any]) -> None:
            write(f"stages/{name}.json", dumps({"schema": f"tackfree.{name}/1", **document}))

        with work.stage("read the job"):
            made = Pipeline.of(bundle)
        with work.stage("read the drawings"):
            _ = made.drawings
        with work.stage("take off"):
            stage_file("takeoff", documents.takeoff(made))
        with work.stage("cut sections"):
            stage_file("sections", documents.sections(made))
        with work.stage("materials"):
            stage_file("materials", to_json(made.materials))
        with work.stage("slab and air"):
            _ = made.problem
        # The solver runs outside the interpreter's lock, beside the cutting of marks.
        with ThreadPoolExecutor(max_workers=1) as solver:
            planned = solver.submit(lambda: made.plan)
            with work.stage("kit marks"):
                laid = kit_marks.marks_of(made)
                stage_file("marks", marks_papers.document(laid))
                for name, svg in marks_papers.drawings(made, laid).items():
                    write(f"drawings/{name}.svg", svg)
            with work.stage("plan"):
                _ = planned.result()
                stage_file("plan", documents.plan(made))
                stage_file("stalls", stalls_document(made))
                stage_file("climate", documents.climate(made))
        with work.stage("clocks"):
            stage_file("clocks", documents.clocks(made))
        with work.stage("drawings"):
            for name, svg in papers.drawings(made).items():
                write(f"drawings/{name}.svg", svg)
        with work.stage("order"):
            write("order.xlsx", order_workbook(made, planned=True))
            stage_file("order", order_stage(made, planned=True))
            if made.job.price is not None:
                stage_file("price", price_document(made))
                write_quote(made, fresh)
        with work.stage("shift sheets"):
            for name, pdf in papers.shift_sheets(made).items():
                write(f"shift/{name}.pdf", pdf)
        with work.stage("calendar"):
            write("plan.ics", papers.calendar(made))
        with work.stage("summary"):
            write("summary.json", dumps(documents.summary(made)))
            headline = papers.headline(made)
        total = round(time.perf_counter() - begun, 3)
        files = sorted(p.relative_to(fresh).as_posix() for p in fresh.rglob("*") if p.is_file())
        receipt = {
            "schema": "tackfree.run/1",
            "tool": f"tackfree {__version__}",
            "bundle": bundle.name,
            "seconds": work.seconds,
            "total_seconds": total,
            "files": files,
        }
        write(RECEIPT, dumps(receipt))
    return BuiltJob(
        out=out,
        files=(*files, RECEIPT),
        headline=headline,
        seconds=work.seconds,
        total_seconds=total,
    )
