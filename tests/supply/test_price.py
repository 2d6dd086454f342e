"""Money: half up by line, margin and mark-up, the bid form, the range, sundries."""

from __future__ import annotations

from decimal import ROUND_HALF_UP, Decimal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tackfree.errors import InputError
from tackfree.film.volume import gross_l
from tackfree.supply.price import (
    bid_lines,
    half_up,
    line,
    margin_of_markup,
    odds_of,
    share_out,
    total_of,
    unit_prices,
)
from tackfree.supply.price_types import PriceBook, UnitItem
from tackfree.supply.sundries import DEFAULTS, Wear, sundry_lines, wear_table

D = Decimal


def book(**more) -> PriceBook:
    given_ = {
        "currency": "USD", "materials": {}, "person_hour": D("60"), "overhead": D("0.10"),
        "margin": D("0.20"),
    }  # fmt: skip
    return PriceBook(**(given_ | more))


def test_lines_are_rounded_half_up_one_by_one() -> None:
    # by hand: 0.5 × 2.45 = 1.225 → 1.23; 0.5 × 0.05 = 0.025 → 0.03
    assert line("material", "A", "A", D("0.5"), "kit", D("2.45")).amount == D("1.23")
    assert line("material", "A", "A", D("0.5"), "kit", D("0.05")).amount == D("0.03")
    assert half_up(D("-1.005")) == D("-1.01")


@pytest.mark.outside
def test_markup_and_margin(check) -> None:
    c = check("cost-markup-margin")
    for markup, margin in zip(c["inputs"]["markup_pct"], c["expected"]["margin_pct"], strict=True):
        found = 100 * margin_of_markup(D(markup) / 100)
        assert float(found) == pytest.approx(margin, rel=c["tolerance"]["rel"])


@pytest.mark.outside
def test_loss_is_added_on_and_not_grossed_up(check) -> None:
    c = check("cost-waste-convention")
    net, waste = c["inputs"]["net_gal"], c["inputs"]["waste_pct"] / 100
    ours = gross_l(area_m2=float(net), wft_um=1000.0, loss=waste)
    assert ours == pytest.approx(c["expected"]["add_on_gal"])
    assert ours != pytest.approx(c["expected"]["gross_up_gal"], rel=1e-3)


def test_overhead_on_cost_and_margin_on_price() -> None:
    lines = [line("labour", "X", "X", D(10), "h", D("100.00"))]
    price = total_of(lines, book(), leftover=D(0))
    # by hand: 1,000 + 10 % = 1,100; 20 % of the price is 275, as 1,100 / 0.8 = 1,375
    assert (price.overhead, price.margin, price.total) == (D(100), D(275), D(1375))
    assert price.margin / price.total == D("0.2")


def test_a_margin_of_all_the_price_is_refused() -> None:
    with pytest.raises(InputError, match="mark-up"):
        total_of([], book(margin=D(1)), leftover=D(0))


def test_unit_prices_carry_overhead_and_margin() -> None:
    items = (UnitItem(id="CRACK", name="Cracks", by="ft", each=D("8.00"), allowance=D(50)),)
    (found,) = unit_prices(book(unit_items=items))
    # by hand: 8 × 1.1 / 0.8 = 11
    assert (found.price, found.unit, found.allowance) == (D("11.00"), "ft", D(50))


@given(
    st.decimals(0, 10**7, places=2),
    st.lists(st.decimals(0, 10**6, places=2), min_size=1, max_size=9),
)
def test_a_bid_form_adds_up_to_the_cent(total, weights) -> None:
    parts = share_out(total, weights)
    assert sum(amount for _, amount in parts) == total
    rows = [(str(i), "x", D(7), "ft²", w) for i, w in enumerate(weights)]
    for bid in bid_lines(total, rows):
        assert bid.unit_price == (bid.amount / 7).quantize(D("0.01"), ROUND_HALF_UP)


def test_the_range_and_what_moves_it() -> None:
    price = total_of([line("labour", "X", "X", D(1), "h", D(100))], book(), leftover=D(0))
    wide, narrow = np.arange(101.0), np.arange(101.0) / 10
    odds = odds_of(price, {("n", "narrow"): narrow, ("w", "wide"): wide}, fixed=45.0)
    # by hand: factor 1.1/0.8 = 1.375; P50 = (50 + 5 + 45) × 1.375, P80 = (88 + 45) × 1.375
    assert (odds.p50, odds.p80) == (D("137.50"), D("182.88"))
    assert [d.name for d in odds.drivers] == ["wide", "narrow"]
    # by hand: 10 to 90 less the middle 50, times the factor
    assert (odds.drivers[0].low, odds.drivers[0].high) == (D("-55.00"), D("55.00"))


def test_wear_by_area_kits_days_and_people() -> None:
    found = sundry_lines(
        (
            Wear(id="B", per="area", one_for=100.0, roles=("base",)),
            Wear(id="K", per="kits", one_for=10.0),
            Wear(id="D", per="person-days", one_for=0.5),
            Wear(id="P", per="people", one_for=1.0),
            Wear(id="N", per="area", one_for=100.0, roles=("lock",)),
        ),
        area_m2={"base": 250.0, "top": 250.0}, kits={"base": 11.0, "top": 10.0},
        person_days=4.0, people=7,
    )  # fmt: skip
    # by hand: 250/100 → 3; 21/10 → 3; 4/0.5 = 8; 7; none
    assert [(x.id, x.count) for x in found] == [("B", 3), ("K", 3), ("D", 8), ("P", 7)]


def test_a_row_of_the_job_stands_in_place_of_ours() -> None:
    own = (Wear(id="BLADE", per="kits", one_for=5.0), Wear(id="TAPE", per="kits", one_for=1.0))
    table = {w.id: w for w in wear_table(own)}
    assert (table["BLADE"].per, table["TAPE"].one_for) == ("kits", 1.0)
    assert len(table) == len(DEFAULTS) + 1
