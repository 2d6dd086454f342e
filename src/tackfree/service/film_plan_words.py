"""How many readings would do, in words, as JSON and as pictures."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from tackfree.evidence.verdict import FEWEST_READINGS
from tackfree.service.evidence_words import begun, patch_name, picture_plain, where
from tackfree.service.film_plan import DESIGNS, MOST, TRIES, Needed
from tackfree.service.save import write_atomic
from tackfree.service.tables import table
from tackfree.sheets.film_deck import section_page_svg, section_svg
from tackfree.sheets.readings_curve import Curve, Reach, readings_curve_svg
from tackfree.units import System, show
from tackfree.words import say

NAMES = ("best", "unchecked", "alone")  # of DESIGNS


def lines(n: Needed, system: System, language: str) -> tuple[str, ...]:
    """The answer and what it comes from, the number first."""

    def film(um: float) -> str:
        return show(um, "film", system, language=language)

    values = {
        "section": n.section, "coat": n.coat, "asked": film(n.asked_um), "aim": film(n.aim_um),
        "count": n.readings, "rule": n.by_rule, "patch": n.by_patch, "chance": n.by_chance,
        "parts": len(n.patches), "fewest": FEWEST_READINGS, "most": MOST,
        "line": film(n.line_um), "enough": film(n.enough_um), "have": n.have, "more": n.more,
        "least": film(n.rule.floor * n.asked_um), "area_pct": round(100 * n.rule.area),
        "share_pct": round(100 * (n.rule.share or 0)),
    }  # fmt: skip
    out = [say("film.plan_head", language, **values)]
    if n.line_of != "average":
        out.append(say(f"film.plan_{n.line_of}", language, **values))
    out.append(say(f"film.plan_{'never' if n.readings is None else 'count'}", language, **values))
    if n.have and n.readings is not None:
        out.append(say("film.plan_have", language, **values))
    return tuple(out)


def patch_lines(n: Needed, language: str) -> tuple[str, ...]:
    """What each patch still wants."""
    if n.readings is None:
        return ()
    return tuple(
        say("film.plan_patch", language, patch=begun(patch_name(p.patch_id, language)),
            wanted=p.wanted, have=p.have, more=p.more)
        for p in n.patches
    )  # fmt: skip


def table_of(n: Needed, system: System, language: str) -> tuple[tuple[str, ...], ...]:
    """Head and rows: for each number of readings the average that must really be there."""
    head = tuple(say(f"film.plan_{k}", language) for k in ("readings", *NAMES))
    rows = [
        (str(k), *(show(n.line_um + m, "film", system, language=language) for m in row))
        for k, row in zip(TRIES, n.margins_um, strict=True)
    ]
    return (head, *rows)


def table_title(n: Needed, language: str) -> str:
    """What the table and the curve say."""
    return say("film.plan_table", language, sure_pct=f"{100 * n.rule.sure:g}")


def spots_said(n: Needed, system: System, language: str) -> tuple[str, ...]:
    """The spots as a tape finds them."""
    found = (n.ground.grid.node(x, y) for x, y in n.spots)
    return tuple(where(n.ground, *node, system, language) for node in found if node is not None)


def text(n: Needed, system: System, language: str = "en") -> str:
    """The number first, why, what each patch wants, what each design needs, the spots."""
    out = [*lines(n, system, language), *(f"  {p}" for p in patch_lines(n, language))]
    head, *rows = table_of(n, system, language)
    out += ["", table_title(n, language), table(head, rows)]
    if n.spots:
        out += ["", say("film.plan_spots", language)]
        out += [f"  {k}. {said}" for k, said in enumerate(spots_said(n, system, language), 1)]
    return "\n".join(out)


def section_rows(
    found: Sequence[Needed], system: System, language: str
) -> tuple[tuple[str, ...], ...]:
    """Head and a row for each section and coat: asked for, aim, readings in all, there, more."""
    head = tuple(
        say(f"film.plan_col_{k}", language)
        for k in ("section", "coat", "asked", "aim", "all", "have", "more")
    )
    rows = []
    for n in found:
        asked, aim = (show(v, "film", system, language=language) for v in (n.asked_um, n.aim_um))
        never = say("film.plan_col_never", language)
        count = (never, str(n.have), "–") if n.readings is None else (
            str(n.readings), str(n.have), str(n.more)
        )  # fmt: skip
        rows.append((n.section, n.coat, asked, aim, *count))
    return (head, *rows)


def zone_rows(found: Sequence[Needed], language: str) -> tuple[str, ...]:
    """A line for each zone and coat: readings in all, and how many more."""
    out = []
    for zone, coat in dict.fromkeys((z, n.coat) for n in found for z in n.zones):
        mine = [n for n in found if zone in n.zones and n.coat == coat]
        counts = [n.readings for n in mine if n.readings is not None]
        form = "zone" if len(counts) == len(mine) else "zone_never"
        out.append(
            say(f"film.plan_{form}", language, zone=zone, coat=coat, count=sum(counts),
                have=sum(n.have for n in mine), more=sum(n.more or 0 for n in mine),
                never=len(mine) - len(counts))
        )  # fmt: skip
    return tuple(out)


def total_line(found: Sequence[Needed], language: str) -> str:
    """All sections together."""
    counts = [n.readings for n in found if n.readings is not None]
    return say(
        "film.plan_total", language, count=sum(counts), sections=len(found),
        have=sum(n.have for n in found), more=sum(n.more or 0 for n in found),
        never=len(found) - len(counts),
    )  # fmt: skip


def sections_text(found: Sequence[Needed], system: System, language: str = "en") -> str:
    """The whole job or deck: the total, zones, then section by section."""
    head, *rows = section_rows(found, system, language)
    return "\n".join(
        [total_line(found, language), *(f"  {z}" for z in zone_rows(found, language)), "",
         table(head, rows)]
    )  # fmt: skip


def document(n: Needed) -> dict[str, Any]:
    """The answer as JSON, in SI."""
    return {
        "section": n.section,
        "coat": n.coat,
        "asked_um": n.asked_um,
        "line_um": n.line_um,
        "line_of": n.line_of,
        "aim_um": n.aim_um,
        "sure": n.rule.sure,
        "m2_per_reading": n.rule.m2_per_reading,
        "readings": n.readings,
        "have": n.have,
        "more": n.more,
        "by_chance": n.by_chance,
        "by_rule": n.by_rule,
        "by_patch": n.by_patch,
        "patches": [
            {"patch": p.patch_id, "wanted": p.wanted, "have": p.have, "more": p.more}
            for p in n.patches
        ],
        "spots_m": [list(p) for p in n.spots],
        "needed": [
            {
                "readings": k,
                "average_um": n.line_um + m,
                "gauge_checked": d.checked,
                "kits_by_cell": d.kits,
            }
            for k, row in zip(TRIES, n.margins_um, strict=True)
            for d, m in zip(DESIGNS, row, strict=True)
        ],
    }


def spots_svg(n: Needed, system: System, language: str, *, paper: bool = False) -> str:
    """The spots as numbered rings on the section, readings there already as dots."""
    title = f"{n.section} {n.coat} · {say('film.plan_spots', language)}"
    picture = picture_plain(n.ground, system, language, n.spots)
    return (section_svg if paper else section_page_svg)(picture, title=title)


def curve_of(n: Needed, system: System, language: str) -> Curve:
    """The curve of how far the average must lie above, by number of readings."""

    def told(name: str) -> str:
        return say(f"film.plan_{name}", language)

    unit = 25.4 if system == "us" else 1.0
    film = {k: show(v, "film", system, language=language)
            for k, v in (("line", n.line_um), ("aim", n.aim_um))}  # fmt: skip
    return Curve(
        title=table_title(n, language),
        readings=TRIES,
        reaches=tuple(
            Reach(word=told(name), film=tuple((n.line_um + row[k]) / unit for row in n.margins_um))
            for k, name in enumerate(NAMES)
        ),
        asked=n.line_um / unit,
        asked_word=say("film.plan_mark_asked", language, film=film["line"]),
        aim=n.aim_um / unit,
        aim_word=say("film.plan_mark_aim", language, film=film["aim"]),
        wanted=n.by_chance,
        across=told("readings"),
        up=say("film.plan_up", language, unit="mil" if system == "us" else "µm"),
    )


def write_pictures(n: Needed, out: Path, system: System, language: str) -> tuple[Path, ...]:
    """The spots and the curve as SVG for paper."""
    files = []
    for name, svg in (
        ("film-spots", spots_svg(n, system, language, paper=True)),
        ("film-readings", readings_curve_svg(curve_of(n, system, language), palette="print")),
    ):
        path = out / f"{name}-{n.section}-{n.coat}.svg"
        path.parent.mkdir(parents=True, exist_ok=True)
        write_atomic(path, svg)
        files.append(path)
    return tuple(files)
