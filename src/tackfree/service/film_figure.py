"""The closeout's figure of one section and coat: map, verdicts, readings, sources."""

from __future__ import annotations

import math
from dataclasses import replace

from tackfree.errors import NotFound
from tackfree.service.evidence import SEED
from tackfree.service.film_tests import TestsView
from tackfree.service.film_view import FilmView
from tackfree.service.pipeline import Pipeline
from tackfree.sheets.film_sheet import FilmSheet, render_film_pdf
from tackfree.units import System, show
from tackfree.words import say


def figure_pdf(
    made: Pipeline,
    v: FilmView,
    system: System,
    language: str,
    last_pos: int,
    tests: TestsView | None = None,
) -> bytes:
    """One view as PDF; ``last_pos`` is the last entry of the record it stands on.

    ``tests`` are the section's bond, moisture, flood and slip, where any is asked for.

    Raises
    ------
    NotFound
        If nothing was logged there.
    """
    if v.picture is None:
        raise NotFound(
            "nothing was logged there.", where=f"{v.section} {v.coat}", do="Add entries."
        )

    def name(key: str) -> str:
        return say(f"film.{key}", language)

    invented = name("invented") if made.job.invented else ""
    sheet = FilmSheet(
        title=say("film.figure_title", language, section=v.section, coat=v.coat),
        job=made.job.name,
        word=v.word,
        asked=v.asked,
        rule=v.rule,
        rules=v.rules,
        beside=(*v.inspector, *_headed(name("beside"), v.beside)),
        clash=v.clash,
        picture=replace(v.picture, title="", lines=(), next_m=()),
        patches_title=name("patches"),
        patch_head=tuple(
            name(f"col_{c}")
            for c in ("patch", "rule", "word", "sure", "average", "readings", "kits")
        ),
        patches=tuple(
            (
                p.name,
                _held(p.holds, language),
                p.word,
                p.sure,
                p.average,
                str(j.readings),
                str(j.kits),
            )
            for p, j in zip(
                v.patches, v.study.judged.verdicts if v.study.judged else (), strict=True
            )
        ),
        until=v.until,
        numbers=(*v.numbers, *_tests(tests, language)),
        notes=(*v.notes, *v.basis),
        readings_title=name("readings_table"),
        reading_head=tuple(name(f"col_{c}") for c in ("who", "place", "seen", "gauge")),
        readings=_readings(v, system, language),
        sources=say("film.figure_sources", language, pos=last_pos, seed=SEED),
        language=language,
        paper="us-letter" if system == "us" else "a4",
        made_utc_s=int(made.job.as_of.timestamp()),
        invented=invented,
    )
    return render_film_pdf(sheet)


def _held(holds: bool | None, language: str) -> str:
    return "–" if holds is None else say(f"film.{'ok' if holds else 'low'}", language)


def _headed(head: str, lines: tuple[str, ...]) -> tuple[str, ...]:
    """Lines under a head of their own, as one paragraph."""
    return (f"{head}: {' '.join(lines)}",) if lines else ()


def _tests(tests: TestsView | None, language: str) -> tuple[str, ...]:
    if tests is None:
        return ()
    head = f"{say('film.tests_title', language)} ({tests.word})"
    return _headed(head, tests.lines)


def _readings(v: FilmView, system: System, language: str) -> tuple[tuple[str, ...], ...]:
    x0, y0, _, _ = v.study.section.floor.bounds
    theirs = set(v.apart)
    digits = 0 if system == "us" else 1

    def far(m: float) -> str:
        return show(m, "length", system, digits, language)

    def tooth(um: float) -> str:
        return show(um, "film", system, language=language) if math.isfinite(um) else "–"

    rows = []
    for r in sorted(v.study.reads, key=lambda r: (r in theirs, -r.y_m, r.x_m)):
        where = say("evidence.where", language, x=far(r.x_m - x0), y=far(r.y_m - y0))
        who = say(f"film.{'inspector' if r in theirs else 'crew'}_word", language)
        rows.append((who, where, f"{tooth(r.low_um)} – {tooth(r.high_um)}", r.gauge))
    return tuple(rows)
