"""Film evidence as sentences, JSON and a map."""

from __future__ import annotations

import math
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import numpy as np

from tackfree.errors import NotFound
from tackfree.evidence.verdict import State, Verdict
from tackfree.service import film_entries
from tackfree.service.evidence import Study, study
from tackfree.service.film_entries import Read
from tackfree.service.film_ground import WHOLE, Ground
from tackfree.service.pipeline import Pipeline
from tackfree.service.save import write_atomic
from tackfree.sheets.evidence_map import (
    KEYS,
    FilmMap,
    MapCell,
    MapPatch,
    MapReading,
    film_map_svg,
)
from tackfree.units import Kind, System, parse, show
from tackfree.units.constants import UM_PER_MIL
from tackfree.words import Message, say

MARKS = ("reading", "inspector", "cell", "thin", "next")
_KINDS: dict[str, Kind] = {
    "um": "film",
    "l": "volume",
    "m2": "area",
    "pa": "pressure",
    "m": "length",
}


def spoken(message: Message, system: System, language: str = "en") -> str:
    """A message in one language and unit system; values carry SI units in their names."""
    values: dict[str, Any] = {}
    for key, value in message.values.items():
        kind = _KINDS.get(key.rsplit("_", 1)[-1])
        if kind is None or isinstance(value, str):
            values[key] = value
            continue
        digits = None
        if key == "mean_um":  # an average just under must look it
            digits = 2 if system == "us" else 1
        if kind == "length":
            digits = 0 if system == "us" else 1
        values[key] = show(value, kind, system, digits, language)
    return say(Message(id=message.id, values=values), language)


def studies(
    made: Pipeline, bundle: Path, section: str | None, coat: str | None, least_um: float | None
) -> tuple[Study, ...]:
    """The studies asked for: one, or every section and coat the record speaks of."""
    record = film_entries.film_record(bundle)
    pairs = [
        (s, c) for s, c in film_entries.places(record) if section in (None, s) and coat in (None, c)
    ]
    if section is not None and coat is not None and not pairs:
        pairs = [(section, coat)]
    if not pairs:
        raise NotFound(
            "the record holds no kit and no film reading there.",
            where=str(bundle),
            do="Add them: tackfree record add B BODY --kind film-reading",
        )
    return tuple(study(made, record, s, c, least_um=least_um) for s, c in pairs)


def film_asked(text: str | None) -> float | None:
    """A film typed on the command line. [µm]"""
    return None if text is None else parse(text, "film")


def where(s: Study | Ground, row: int, col: int, system: System, language: str = "en") -> str:
    """A place as a tape finds it: from the section's edges on the drawing."""
    x, y = s.grid.place(row, col)
    x0, y0, _, _ = s.section.floor.bounds
    digits = 0 if system == "us" else 1
    return say(
        "evidence.where",
        language,
        x=show(x - x0, "length", system, digits, language),
        y=show(y - y0, "length", system, digits, language),
    )


def percent(p: float, draws: int, language: str) -> str:
    """A chance as it may be printed: never 0 and never 100 %."""
    if p >= 1 - 1.5 / draws:
        return say("evidence.better", language, pct=99)
    if p <= 1.5 / draws:
        return say("evidence.less", language, pct=1)
    return say("evidence.percent", language, pct=min(99, max(1, round(100 * p))))


def sentence(s: Study, v: Verdict, system: System, language: str = "en") -> str:
    """The verdict of one patch, said."""
    if s.clash is not None:
        return say(
            "evidence.not-shown-clash", language, patch=begun(patch_name(v.patch_id, language))
        )
    film = {"least": show(s.claim.least_um, "film", system, language=language)}
    if s.claim.average_um is not None:
        film["average"] = show(s.claim.average_um, "film", system, language=language)
    name = "both" if s.claim.average_um is not None else "share"
    share = round(100 * s.claim.share)
    return say(
        f"evidence.{v.state.value}",
        language,
        patch=begun(patch_name(v.patch_id, language)),
        p_pct=begun(percent(v.p, v.draws, language)),
        claim=say(f"evidence.claim_{name}", language, share_pct=share, **film),
        kits=_count("kit", v.kits, language),
        readings=_count("reading", v.readings, language),
        where=where(s, *v.thinnest, system, language),
        thinnest=show(v.thinnest_um, "film", system, language=language),
        top_up=show(v.top_up_l * (1 + s.loss), "volume", system, language=language),
    )


def begun(text: str) -> str:
    """With a capital, as a sentence begins."""
    return text[:1].upper() + text[1:]


def _count(noun: str, count: int, language: str) -> str:
    return say(f"evidence.{noun}_{'one' if count == 1 else 'count'}", language, count=count)


def patch_name(patch_id: str, language: str) -> str:
    """A patch as people name it."""
    if patch_id == WHOLE:
        return say("evidence.whole", language)
    return say("evidence.patch", language, number=patch_id)


def _short_name(patch_id: str, language: str) -> str:
    return begun(patch_name(WHOLE, language)) if patch_id == WHOLE else patch_id


def next_messages(s: Study, system: System, language: str = "en") -> tuple[Message, ...]:
    """What to measure next, the most useful first."""
    h = s.helps
    if h is None:
        return ()
    cut = round(100 * h.readings)
    patch = patch_name(h.patch_id, language)
    common = {"count": len(h.spots), "readings_pct": cut, "patch": patch}
    ranked: list[tuple[float, Message]] = []
    if len(h.spots):
        ranked.append((h.readings, Message(id="evidence.next_readings", values=common)))
    alone = "" if len(h.spots) else "_alone"
    for name, shares, labels in (
        ("gauge", h.gauge, sorted({r.gauge for r in s.reads})),
        ("loss", h.loss, ["kits"]),
    ):
        for k, share in enumerate(shares):
            values = {**common, "cut_pct": round(100 * float(share))}
            if name == "gauge":
                values["gauge"] = labels[k]
            message = Message(id=f"evidence.next_{name}{alone}", values=values)
            ranked.append((float(share), message))
    ranked.sort(key=lambda pair: (-pair[0], pair[1].id))
    spots = [
        Message(
            id="evidence.next_spot",
            values={
                "rank": k,
                "where": where(s, int(r), int(c), system, language),
                "patch": patch,
            },
        )
        for k, (r, c) in enumerate(h.spots, 1)
    ]
    first = () if s.dry is None else (s.dry,)
    return (*first, *(m for _, m in ranked), *spots)


def source_line(s: Study, system: System, language: str) -> str:
    """What the verdicts stand on."""
    volume = show(math.fsum(k.volume_l for k in s.kits), "volume", system, language=language)
    kits, loss = len(s.kits), round(100 * s.loss)
    if not s.kits:
        return say("evidence.source_readings", language, readings=len(s.reads))
    if not s.reads or s.field is None:
        return say("evidence.source_kits", language, kits=kits, volume=volume, loss_pct=loss)
    if s.clash is not None:  # how far they are apart stands there; no share of it is either's
        return say(
            "evidence.source_clash", language, kits=kits, volume=volume, loss_pct=loss,
            readings=len(s.reads),
        )  # fmt: skip
    gap = float(s.field.gauge_bias()[0].mean())
    if s.cells:
        gap -= float(s.field.loss_error()[0].mean())
    return say(
        "evidence.source_line",
        language,
        kits=kits,
        volume=volume,
        loss_pct=loss,
        readings=len(s.reads),
        gap=show(abs(gap), "film", system, language=language),
        way=say(f"evidence.{'above' if gap >= 0 else 'below'}", language),
    )


def head(s: Study, language: str = "en") -> str:
    """How many patches are shown, short, not shown."""
    parts = [v for v in s.judged.verdicts if v.patch_id != WHOLE] if s.judged else []
    if s.judged and not parts:
        parts = list(s.judged.verdicts)
    count = {k: sum(v.state is k for v in parts) for k in State}
    return say(
        "evidence.head",
        language,
        section=s.section.id,
        coat=s.coat.id,
        patches=len(parts),
        shown=count[State.SHOWN],
        short=count[State.SHORT],
        not_shown=count[State.NOT_SHOWN],
    )


def film_map(
    s: Study,
    system: System,
    language: str = "en",
    palette: str = "print",
    apart: Iterable[Read] = (),
) -> str:
    """The map of one study as SVG; readings of ``apart`` are the inspector's."""
    return film_map_svg(picture_of(s, system, language, apart), palette=palette)


def picture_of(
    s: Study, system: System, language: str = "en", apart: Iterable[Read] = ()
) -> FilmMap:
    """All that a map of one study shows; readings of ``apart`` are the inspector's."""
    theirs = set(apart)
    if s.judged is None:
        raise NotFound(
            "nothing was logged there.", where=f"{s.section.id} {s.coat.id}", do="Add entries."
        )
    average = s.claim.average_um
    asked = show(average or s.claim.least_um, "film", system, language=language)
    by_id = {p.id: shape for p, shape in s.patches}

    def mils(value: float) -> str:
        if not math.isfinite(value):
            return ""
        return show(value, "film", system, 0, language).rsplit("\u00a0", 1)[0]

    def band(v: Verdict) -> tuple[float, float, float]:
        if average is None:
            return v.share_band[0], v.share_mean, v.share_band[1]
        wide = 1.645 * v.mean_sd_um
        return v.mean_um - wide, v.mean_um, v.mean_um + wide

    ticks = tuple((x, f"{x:.0%}") for x in (0.0, 0.5, 1.0))
    if average is not None:
        gap = 4 * UM_PER_MIL if system == "us" else 100.0
        ticks = tuple((x, mils(x)) for x in (average + k * gap for k in (-2, -1, 0, 1, 2)))
    title = f"{s.section.id} {s.coat.id} · {say('evidence.map_title', language, least=asked)}"
    broken = any(r.holds is False for r in s.rules) or s.rules[0].holds is None
    contract = say(f"evidence.contract_{'broken' if broken else 'holds'}", language)
    lines = [
        f"{say('evidence.contract', language)} {contract}. {head(s, language)}",
        source_line(s, system, language),
    ]
    if s.clash is not None:
        lines.append(spoken(s.clash.message, system, language))
    return FilmMap(
        title=title,
        lines=tuple(lines),
        floor=s.section.floor,
        x0_m=s.grid.x0_m,
        y0_m=s.grid.y0_m,
        step_m=s.grid.step_m,
        inside=s.grid.inside,
        # gauge and kits cannot both be right: no chance is drawn either
        chance=s.judged.chance if s.clash is None else np.full(s.grid.shape, 0.5),
        cells=tuple(
            MapCell(shape=c.shape, text=show(c.mean_um, "film", system).rsplit("\u00a0", 1)[0])
            for c in s.cells
        ),
        readings=tuple(
            MapReading(
                x_m=r.x_m,
                y_m=r.y_m,
                text=f"{mils(r.low_um)}–{mils(r.high_um)}",
                inspector=r in theirs,
            )
            for r in s.reads
        ),
        patches=tuple(
            MapPatch(
                id=_short_name(v.patch_id, language),
                shape=by_id[v.patch_id],
                word=say(f"evidence.state_{v.state.value}", language),
                low=band(v)[0],
                middle=band(v)[1],
                high=band(v)[2],
            )
            for v in s.judged.verdicts
        ),
        thin=() if s.clash else _thin(s, s.judged.verdicts, system, language),
        next_m=tuple(s.grid.place(int(r), int(c)) for r, c in s.helps.spots) if s.helps else (),
        ticks=ticks,
        wanted=s.claim.share if average is None else average,
        legend={
            **{k: say(f"evidence.map_{k}", language) for k in (*KEYS, *MARKS)},
            "scale": system,
        },
        bars=say(
            f"evidence.map_{'share' if average is None else 'average'}",
            language,
            least=asked,
            share_pct=round(100 * s.claim.share),
        ),
    )


def _thin(
    s: Study, verdicts: Iterable[Verdict], system: System, language: str
) -> tuple[MapReading, ...]:
    """The thinnest place of each patch that is not shown; of the section where it is alone."""
    every = list(verdicts)
    return tuple(
        MapReading(
            x_m=x, y_m=y,
            text=show(v.thinnest_um, "film", system, language=language).rsplit("\u00a0", 1)[0],
        )
        for v in every[:-1] or every
        if v.state is not State.SHOWN
        for x, y in (s.grid.place(*v.thinnest),)
    )  # fmt: skip


def picture_plain(
    s: Ground, system: System, language: str, spots: Iterable[tuple[float, float]]
) -> FilmMap:
    """A section of which nothing is known, with spots to read as rings."""
    return FilmMap(
        title="",
        lines=(),
        floor=s.section.floor,
        x0_m=s.grid.x0_m,
        y0_m=s.grid.y0_m,
        step_m=s.grid.step_m,
        inside=s.grid.inside,
        chance=np.full(s.grid.shape, 0.5),
        cells=(),
        readings=(),
        patches=tuple(
            MapPatch(id=_short_name(p.id, language), shape=shape, word="", low=0, middle=0, high=0)
            for p, shape in s.patches
        ),
        next_m=tuple(spots),
        legend={"scale": system},
        bars="",
        ticks=(),
        wanted=0.0,
    )


def write_map(
    s: Study, out: Path, system: System, language: str = "en", apart: Iterable[Read] = ()
) -> Path:
    """The map as a file named for its section and coat."""
    path = out / f"film-{s.section.id}-{s.coat.id}.svg"
    path.parent.mkdir(parents=True, exist_ok=True)
    write_atomic(path, film_map(s, system, language, apart=apart))
    return path
