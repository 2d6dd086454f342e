"""An addendum to the demo job: area, features and kits."""

from __future__ import annotations

import shutil
from decimal import Decimal
from pathlib import Path

import ezdxf
import pytest

from tackfree.service import compare as service
from tackfree.service import job
from tackfree.units import show

FT2 = 0.3048**2


@pytest.fixture(scope="module")
def bundles(tmp_path_factory):
    first = tmp_path_factory.mktemp("first") / "job"
    job.new(first, demo=True)
    if not list(first.glob("weather/*")):  # a checkout keeps the weather out of the demo
        import pvlib

        (first / "weather").mkdir(exist_ok=True)
        source = Path(pvlib.__file__).parent / "data" / "723170TYA.CSV"
        shutil.copy(source, first / "weather" / source.name)
    second = first.parent / "later"
    shutil.copytree(first, second)
    path = second / "decks" / "P1.dxf"
    drawing = ezdxf.readfile(path)
    space = drawing.modelspace()
    space.add_lwpolyline(
        [(30, 60), (40, 60), (40, 80), (30, 80)], close=True, dxfattribs={"layer": "OPENING"}
    )
    drawing.saveas(path)
    return first, second


def test_an_opening_cut_into_a_lane(bundles, tmp_path):
    found = service.compare_jobs(*bundles)
    rows = service.document(found)
    (change,) = rows["zones"]
    assert change["zone_id"] == "P1-LANE-A"
    # exact: the opening is 10 × 20 ft in plan, on a lane that falls 1.5 %
    assert change["change_m2"] / FT2 == pytest.approx(-200 * (1 + 0.015**2) ** 0.5, rel=1e-6)
    assert change["lost_m2"] / FT2 == pytest.approx(200, rel=1e-6)
    (feature,) = rows["features"]
    assert (feature["kind"], feature["before"], feature["after"]) == ("opening", 1, 2)
    assert rows["order"]
    # the money follows the kits: each changed count times its own price, and the total is
    # what the two price lists say on their own
    money = {m["group"]: Decimal(m["change"]) for m in rows["money"]}
    book = found.after.job.price
    kits = sum(book.materials[o.product_id].each * (o.after - o.before) for o in found.orders)
    assert money["material"] == kits
    assert money["total"] == found.after.price.total - found.before.price.total
    assert rows["currency"] == book.currency
    text = service.text(found, "us")
    assert f"{money['total']:+,.2f}" in text
    assert f"-{show(200 * FT2, 'area', 'us')}" in text
    (svg,) = service.write(found, tmp_path)
    drawn = Path(svg).read_text("utf-8")
    assert show(200 * FT2, "area", "us") in drawn
    assert drawn.count(">+<") == 1  # the opening stands on the drawing


def test_nothing_moved(bundles):
    found = service.compare_jobs(bundles[0], bundles[0])
    assert "Nothing moved" in service.text(found, "us")
    assert service.document(found)["zones"] == []
