"""The demo job: invented, small enough to follow, and possible in its season."""

from __future__ import annotations

import json
import subprocess
from collections import defaultdict
from pathlib import Path

import pytest

from tackfree.deck.access import access_graph
from tackfree.service import hours
from tackfree.service.pipeline import Pipeline


@pytest.fixture(scope="module")
def made(demo: Path) -> Pipeline:
    return Pipeline.of(demo)


def test_all_of_it_is_marked_invented(made: Pipeline) -> None:
    assert made.job.invented
    assert all(p.invented for p in made.job.products.values())
    families = {p.family for p in made.job.products.values() if p.kit}
    assert len(families) >= 2


def test_two_levels_kept_open_a_ramp_and_balconies(made: Pipeline) -> None:
    zones = {z.id: z for d in made.drawings.decks for z in d.zones}
    level = [z for z in made.takeoff.zones if z.zone_id[:3] in ("P1-", "P2-")]
    area = sum(z.field_m2 for z in level if z.zone_id != "P2-RAMP")
    assert area == pytest.approx(60_000 * 0.3048**2, rel=0.03)
    assert {str(z.duty) for z in zones.values()} == {
        "pedestrian", "light", "heavy", "extra-heavy",
    }  # fmt: skip
    widths = {c.width_m for z in made.takeoff.zones for c in z.cracks}
    assert len(widths) == 3
    assert {str(d.post_tensioned) for d in made.drawings.decks} >= {"unknown"}
    assert 0 < made.job.stalls_open_min < 1


def test_the_ramp_climbs_one_storey(made: Pipeline) -> None:
    decks = {d.id: d for d in made.drawings.decks}
    (ramp,) = (z for z in decks["P2"].zones if z.id == "P2-RAMP")
    low, high = ramp.outline.bounds[1], ramp.outline.bounds[3]
    rise = -ramp.slope_y * (high - low)  # it climbs southward
    assert rise == pytest.approx(decks["P2"].elevation_m - decks["P1"].elevation_m)
    assert 3.0 < rise < 3.6


def test_cars_reach_every_stall_and_one_closed_lane_loses_only_its_own(made: Pipeline) -> None:
    graph = access_graph(made.drawings.decks)
    assert graph.cut_off() == ()
    for node in graph.nodes:
        own = {s for s, at in graph.stalls.items() if at == node.id}
        assert set(graph.cut_off([node.id])) == own
    accessible = [f for d in made.drawings.decks for f in d.features if f.accessible]
    # published: 2010 ADA Standards for Accessible Design, table 208.2: 6 of 151 to 200
    assert 151 <= len(graph.stalls) <= 200
    assert len(accessible) == 6
    assert len({graph.stalls[f.id] for f in accessible}) > 1


def test_at_most_20_sections(made: Pipeline) -> None:
    assert 10 <= len(made.sections.sections) <= 20


def test_every_month_coat_and_exposure_has_legal_start_hours(made: Pipeline) -> None:
    """Counted for placings of 4 h, over the months that lie wholly in the job's dates."""
    used = {(s.exposure, s.build_up_id) for s in made.sections.sections}
    allowed: dict[tuple[str, str, str, str], float] = defaultdict(float)
    for row in hours.legal_start_hours(made.job, made.climate):
        if (row.exposure, row.build_up_id) in used and row.month in ("2027-05", "2027-06"):
            key = (row.month, str(row.exposure), row.build_up_id, row.coat_id)
            allowed[key] += row.go_h + row.measure_h
    coats = sum(len(made.job.build_ups[b].coats) for _, b in used)
    assert len(allowed) == 2 * coats
    none = [key for key, h in allowed.items() if h <= 0]
    assert none == []


def test_the_plan_holds_and_says_how_good_it_is(demo_out: Path) -> None:
    from tackfree.service.plan import check_file

    assert check_file(demo_out / "stages" / "plan.json") == ()
    plan = json.loads((demo_out / "stages" / "plan.json").read_text("utf-8"))["plan"]
    assert plan["status"] in ("optimal", "feasible")
    for stage in plan["stages"]:
        assert stage["bound"] <= stage["value"]
        assert stage["bound_source"]


def test_the_tendon_caution_is_on_the_sheets_of_that_deck(demo_out: Path) -> None:
    sheets = sorted((demo_out / "shift").glob("*-P2-*.pdf"))
    assert sheets
    text = subprocess.run(
        ["pdftotext", "-layout", str(sheets[0]), "-"], capture_output=True, text=True, check=True
    ).stdout
    assert "engineer's word" in " ".join(text.split())
