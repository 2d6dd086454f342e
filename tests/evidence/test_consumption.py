"""Kits to finish, learnt from a made record of the demo job."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

import pytest
from tests.evidence.made_deck import MIL, deck_record, write

from tackfree.errors import InputError
from tackfree.service import consumption_words as words
from tackfree.service import job
from tackfree.service.consumption import ToFinish, consumption_record, ratio_of, to_finish
from tackfree.service.marks import lay_marks
from tackfree.service.pipeline import Pipeline

SECTION, COAT = "P1-STALL-D-1", "BASE"
DAY = date(2027, 5, 4)


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Pipeline:
    folder = tmp_path_factory.mktemp("consumption") / "job"
    job.new(folder, demo=True)
    return Pipeline.of(folder)


def line_of(made: Pipeline) -> Any:
    return next(c for c in made.materials.coats if (c.section_id, c.coat_id) == (SECTION, COAT))


def bodies_of(made: Pipeline, drinks: float) -> list[tuple[str, dict[str, Any]]]:
    """A whole section coated by kits that reach 1 / ``drinks`` as far as worked out."""
    line = line_of(made)
    deep = line.wft_um + line.fill_um
    section = next(s for s in made.sections.sections if s.id == SECTION)
    return deck_record(
        section, COAT, line.product_id, film_mil=lambda x, y: (drinks * deep - line.fill_um) / MIL,
        kit_l=line.kit_l, deep_um=line.fill_um, loss=line.loss, readings=0, seed=1,
    )  # fmt: skip


def of(
    made: Pipeline, folder: Path, bodies: list[tuple[str, dict[str, Any]]], **asked: Any
) -> ToFinish:
    if bodies:
        write(folder, made.job.id, bodies)
    found = to_finish(made, consumption_record(folder), today=DAY, **asked)
    return next(f for f in found if f.product_id == line_of(made).product_id)


def test_before_the_first_kit_the_range_holds_what_was_worked_out(
    demo: Pipeline, tmp_path: Path
) -> None:
    found = of(demo, tmp_path, [])
    assert found.learnt_from == found.used == 0
    assert found.p10 < found.planned < found.p90 + 1
    assert found.on_hand is None
    assert {"consumption.no_delivery", "consumption.no_plan"} <= {m.id for m in found.messages}


@pytest.mark.parametrize("drinks", [1.0, 1.25])
def test_a_section_coated_teaches_the_rest(demo: Pipeline, tmp_path: Path, drinks: float) -> None:
    found = of(demo, tmp_path, bodies_of(demo, drinks))
    low, high = found.ratio_band
    assert low < 1 / drinks < high  # exact: the kits were made to reach so far
    assert high / low < 1.35
    before = of(demo, tmp_path / "none", [])
    assert found.planned < before.planned  # the section is done
    # the rest takes as many more as the deck drinks more, whole kits by section on top
    assert found.p10 / found.planned == pytest.approx(drinks, rel=0.12)
    ids = {m.id for m in found.messages}
    assert ("consumption.drinks_more" in ids) == (drinks > 1)


def test_stock_order_and_date(demo: Pipeline, tmp_path: Path) -> None:
    line = line_of(demo)
    bodies = bodies_of(demo, 1.0)
    used = sum(k == "batch" for k, _ in bodies)
    bodies.append(("delivery", {"product": line.product_id, "kits": used + 12}))
    found = of(demo, tmp_path, bodies, on_order={line.product_id: 3})
    assert found.on_hand == 12  # exact: delivered less opened
    assert found.on_order == 3
    bare = to_finish(demo, consumption_record(tmp_path), today=DAY)
    alone = next(f for f in bare if f.product_id == line.product_id)
    assert alone.order >= found.order
    assert found.order > 0
    assert sum(t.count for t in found.deliveries) == found.order
    assert found.runs_out is not None
    assert found.order_by is not None
    assert found.order_by < found.runs_out
    assert found.enough_share > 0.5
    said = words.text(demo, [found])
    late = found.order_by < DAY  # the order day lies behind: the sentence says so
    assert f"Order {found.order} {'today: it is late' if late else 'by'}" in said
    assert "{" not in said
    assert "{" not in words.text(demo, [found], "es")
    days = [d.p50 for d in found.days]
    assert days == sorted(days)
    plenty = to_finish(
        demo, consumption_record(tmp_path), today=DAY, on_order={line.product_id: 5000}
    )
    full = next(f for f in plenty if f.product_id == line.product_id)
    assert full.order == 0
    assert full.runs_out is None
    assert full.deliveries == ()
    with pytest.raises(InputError, match="-1 kits"):
        to_finish(demo, (), today=DAY, on_order={line.product_id: -1})


def test_the_crews_own_history_speaks_from_the_fifth_job(demo: Pipeline, tmp_path: Path) -> None:
    product = line_of(demo).product_id
    four = of(demo, tmp_path, [], history={product: [0.8] * 4})
    five = of(demo, tmp_path, [], history={product: [0.8, 0.79, 0.81, 0.8, 0.8]})
    assert four.history_jobs == 0
    assert five.history_jobs == 5
    assert four.ratio == pytest.approx(1.0, abs=0.01)
    assert five.ratio == pytest.approx(0.8, abs=0.01)  # exact: the mean of the five
    assert five.p50 > four.p50
    write(tmp_path / "one", demo.job.id, bodies_of(demo, 1.25))
    kept = ratio_of(demo, consumption_record(tmp_path / "one"))
    assert kept[product] == pytest.approx(0.8, rel=0.02)  # exact: 1 / 1.25


def test_a_last_kit_without_a_leftover_teaches_nothing(demo: Pipeline, tmp_path: Path) -> None:
    line = line_of(demo)
    bodies = bodies_of(demo, 1.0)[:12]
    x0, y0, _, _ = next(s for s in demo.sections.sections if s.id == SECTION).floor.bounds
    square = [[x0, y0], [x0 + 1.5, y0], [x0 + 1.5, y0 + 1.5], [x0, y0 + 1.5]]
    where = {"kit": "K-999", "section": SECTION, "coat": COAT}
    bodies += [
        ("batch", {**where, "product": line.product_id}),
        ("placement", {**where, "outline": square}),
        ("batch", {**where, "kit": "K-1000", "product": line.product_id}),
    ]
    found = of(demo, tmp_path, bodies)
    by_id = {m.id: m.values for m in found.messages}
    assert by_id["consumption.placeless"]["count"] == 1
    assert by_id["consumption.leftover"]["count"] == 1
    assert found.used == found.learnt_from + 2


def test_a_cell_named_by_its_layout_teaches_like_an_outline(demo: Pipeline, tmp_path: Path) -> None:
    line = line_of(demo)
    laid = lay_marks(demo, SECTION, COAT, search=False)
    bodies: list[tuple[str, dict[str, Any]]] = []
    for cell in laid.cells[:6]:
        kit = {"kit": f"C-{cell.number}", "section": SECTION, "coat": COAT}
        bodies.append(("batch", {**kit, "product": line.product_id}))
        bodies.append(("placement", {**kit, "layout": laid.id, "cell": str(cell.number)}))
    found = of(demo, tmp_path, bodies)
    assert found.learnt_from == 6
    assert found.ratio == pytest.approx(1.0, rel=0.03)  # exact: a mark is what a kit covers
