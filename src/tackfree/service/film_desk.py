"""What the command line asks of film evidence: views, one text, JSON, figures for the closeout."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from tackfree.errors import InputError
from tackfree.record.entries import Entry
from tackfree.service import film_json, film_suspects, report
from tackfree.service.acceptance import record_of_tests
from tackfree.service.film_entries import film_record
from tackfree.service.film_figure import figure_pdf
from tackfree.service.film_tests import TestsView, told_of, under_film
from tackfree.service.film_view import (
    FilmView,
    head_of,
    moment_of,
    moment_said,
    views,
    zone_lines,
)
from tackfree.service.film_view import text as text_of
from tackfree.service.pipeline import Pipeline
from tackfree.service.save import write_atomic
from tackfree.units import System
from tackfree.words import LANGUAGES, say


@dataclass(frozen=True, kw_only=True)
class Answer:
    """Views with the moment they are of; ``live`` is False where the record is ahead of it."""

    made: Pipeline
    views: tuple[FilmView, ...]
    system: System
    language: str
    at: datetime
    live: bool
    last_pos: int
    tests: tuple[Entry, ...]  # of bond, moisture, flood and slip


def opened(bundle: Path) -> tuple[Pipeline, tuple[Entry, ...]]:
    """The job and what its record says of film; a zip without a database keeps none."""
    made = Pipeline.of(bundle)
    try:
        return made, film_record(bundle)
    except InputError:
        return made, ()


def ask(
    bundle: Path,
    units: str | None,
    language: str,
    section: str | None,
    coat: str | None,
    least_um: float | None,
    now: str | None,
) -> Answer:
    """The views of what is logged, in one language and unit system.

    Parameters
    ----------
    units : str, optional
        us or si; left out, the job's own.
    now : str, optional
        The moment of the recoat clock, in job time; left out, this machine's.

    Raises
    ------
    InputError
        If language, units or moment cannot be.
    NotFound
        If nothing is logged there.
    """
    if language not in LANGUAGES:
        raise InputError(
            f"{language!r} is no language.", where="--lang", do=f"Use {', '.join(LANGUAGES)}."
        )
    made = Pipeline.of(bundle)
    chosen = units or made.job.units
    if chosen not in ("us", "si"):
        raise InputError(f"{chosen!r} is no unit system.", where="--units", do="Use us or si.")
    system: System = "si" if chosen == "si" else "us"
    zone = ZoneInfo(made.job.place.time_zone)
    record = film_record(bundle)
    moment = datetime.now(zone) if now is None else report.moment(now, zone, "--now")
    at, live = (moment, True) if now is not None else moment_of(record, zone, moment)
    found = views(
        made, bundle, system, language, section=section, coat=coat, least_um=least_um, at=at
    )
    return Answer(
        made=made, views=found, system=system, language=language, at=at, live=live,
        last_pos=record[-1].pos if record else 0, tests=record_of_tests(bundle),
    )  # fmt: skip


def text(a: Answer) -> str:
    """All of it for people; zone by zone first where there is more than one section."""
    form = "as_of" if a.live else "as_of_last"
    moment = say(f"film.{form}", a.language, moment=moment_said(a.at, a.language))
    head = [moment]
    if a.made.job.invented:
        head.append(say("film.invented", a.language))
    if len(a.views) > 1:
        rows = zone_lines(a.made, a.views, a.language)
        head += [head_of((state for _, state in rows), a.language), say("film.zones", a.language)]
        head += [f"  {said}" for said, _ in rows]
    out = ["\n".join(head)]
    for k, v in enumerate(a.views):
        out.append(text_of(v, a.language))
        tests = None if v.section in {w.section for w in a.views[:k]} else _tests(a, v.section)
        if tests is not None:
            out.append(under_film(tests, a.language))
    return "\n\n".join(out)


def _tests(a: Answer, section: str) -> TestsView | None:
    return told_of(a.made, a.tests, section, a.system, a.language)


def document(v: FilmView) -> dict[str, Any]:
    """One view as JSON: the study in SI, with the word of the section and whose readings."""
    return {
        "state": v.state.value if v.state else None,
        "zones": list(v.zones),
        "recoat": v.until or None,
        "inspector_readings": len(v.apart),
        "suspects": film_suspects.document(v.study),
        **film_json.document(v.study),
    }


def documents(a: Answer) -> dict[str, Any]:
    """Every view and the zones as JSON."""
    rows = zone_lines(a.made, a.views, a.language)
    return {
        "at": a.at.isoformat(timespec="minutes"),
        "zones": [{"said": said, "state": s.value if s else None} for said, s in rows],
        "studies": [document(v) for v in a.views],
    }


def _figure(a: Answer, v: FilmView) -> bytes:
    return figure_pdf(a.made, v, a.system, a.language, a.last_pos, _tests(a, v.section))


def write_figures(a: Answer, out: Path) -> tuple[Path, ...]:
    """A PDF for each view that holds anything, named for its section and coat."""
    files = []
    for v in a.views:
        if v.picture is None:
            continue
        path = out / f"film-{v.section}-{v.coat}.pdf"
        path.parent.mkdir(parents=True, exist_ok=True)
        write_atomic(path, _figure(a, v))
        files.append(path)
    return tuple(files)
