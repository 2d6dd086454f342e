"""The invented jobs, whose gallons, kits and bags were worked by hand.

Where the scenario's figure rests on a shortcut, the test says which.
"""

from __future__ import annotations

import pytest
from tests.supply.trade import FT2, GAL, PRODUCTS, build_up, coat, has, section

from tackfree.deck.types import Substrate
from tackfree.supply.materials import job_materials

LB = 0.45359237


def materials(sections, bu, quantities=None, substrate=None):
    return job_materials(
        sections,
        quantities={s.id: (quantities or {}).get(s.id, has(s.id)) for s in sections},
        build_ups={bu.id: bu},
        products=PRODUCTS,
        substrates={s.id: (substrate or Substrate(csp=3),) for s in sections},
    )


def bought(found) -> dict[str, int]:
    return {o.product_id: o.count for o in found.order}


BALCONIES = has(upturn_m=12 * 29 * 0.3048, upturn_m2=116 * FT2)


def terraces(detail: str):
    """Larkmoor Terraces: 12 balconies of 51 ft², 4 in upturn along 29 ft, loss 12 %."""
    return build_up(
        coat("BASE", "HEN-B", 25, fill_mil=3),
        coat("TOP", "HEN-T", 15, fill_mil=0, lb_per_100=12),
        loss=0.12,
        detail=detail,
    )


def test_twelve_balconies_with_upturns_of_a_product_of_their_own() -> None:
    found = materials([section(612)], terraces("HEN-D"), {"S-1": BALCONIES})
    base, top = found.coats
    # practice: scenario Larkmoor Terraces: 12.0 gal and 3 kits, 6.4 gal and 2 kits,
    # upturn 3.3 gal, 73 lb of sand and 2 bags
    assert base.gross_l / GAL == pytest.approx(12.0, abs=0.05)
    assert top.gross_l / GAL == pytest.approx(6.4, abs=0.05)
    assert (base.kits, top.kits) == (3, 2)
    upturn = next(d for d in found.details if d.kind == "upturn")
    # The scenario rounds 3.24 gal up; 116 ft² × 40 mil × 1.12 / 1604.17 = 3.24
    assert upturn.volume_l / GAL == pytest.approx(3.24, abs=0.005)
    assert upturn.packages == 2  # of 2 gal
    assert top.aggregate_kg / LB == pytest.approx(73, abs=0.5)
    assert top.bags == 2


def test_upturns_of_the_base_material_need_a_fourth_kit() -> None:
    found = materials([section(612)], terraces("HEN-B"), {"S-1": BALCONIES})
    base = found.coats[0]
    # practice: scenario Larkmoor Terraces: the sum is over three kits of 5 gal → 4.
    # Rounded apart they would be 3 + 1; rounded apart and the upturn forgotten, 3.
    assert (base.gross_l + base.detail_l) / GAL == pytest.approx(15.2, abs=0.05)
    assert base.kits == 4
    upturn = next(d for d in found.details if d.kind == "upturn")
    assert (upturn.packages, upturn.packed_with) == (0, "BASE")
    assert bought(found) == {"HEN-B": 4, "HEN-T": 2, "SAND-1630": 2}


def test_balconies_apart_waste_kits_and_the_offer_says_how_many() -> None:
    each = [section(51, f"BAL-{k:02}") for k in range(12)]
    found = materials(each, terraces("HEN-D"))
    # published: 51 × 28 × 1.12 / 1604.17 = 0.997 gal each: 12 kits apart, 3 together
    offer = next(
        m for m in found.messages
        if m.id == "supply.note.group-offer" and m.values["coat"] == "BASE"
    )  # fmt: skip
    assert (offer.values["apart"], offer.values["together"]) == (12, 3)


def ramp(lock_fill_mil):
    return build_up(
        coat("BASE", "HEN-B", 28, fill_mil=6),
        coat("INTER", "HEN-I", 22, fill_mil=0, lb_per_100=60, sanding="to-refusal"),
        coat("LOCK", "HEN-T", 18, fill_mil=lock_fill_mil),
    )


def test_the_ramp_with_sand_to_refusal() -> None:
    found = materials([section(4200)], ramp(0))
    # practice: scenario Quarry Street: 96.1, 62.2, 50.9 gal; 20, 13, 11 kits; 2,520 lb
    # in 51 bags. Its lock coat carries no fill over the sand: a lower bound.
    assert [c.gross_l / GAL for c in found.coats] == pytest.approx([96.1, 62.2, 50.9], abs=0.05)
    assert [c.kits for c in found.coats] == [20, 13, 11]
    inter = found.coats[1]
    assert inter.aggregate_kg / LB == pytest.approx(2520)
    assert inter.bags == 51


def test_a_lock_coat_over_sand_takes_more_than_its_film() -> None:
    lock = materials([section(4200)], ramp(None)).coats[2]
    assert lock.fill_basis == "supply.fill.sand"
    # memory: room between 0.6 to 1.18 mm grains half sunk, 4 to 15 mil
    assert 4 * 25.4 < lock.fill_um < 15 * 25.4
    assert lock.kits > 11


def test_five_levels_by_the_gallon() -> None:
    """Harbourgate Garage, one level of 60,000 ft², loss 8 %."""
    stalls, lanes, all_of_it = 0.62 * 60_000, 0.38 * 60_000, 60_000
    work = [
        (stalls, coat("BASE", "HEN-B", 25, fill_mil=5)),
        (lanes, coat("BASE", "HEN-B", 28, fill_mil=5)),
        (lanes, coat("INTER", "HEN-I", 20, fill_mil=0)),
        (all_of_it, coat("TOP", "HEN-T", 15, fill_mil=0)),
    ]
    lines = [materials([section(ft2)], build_up(c)).coats[0] for ft2, c in work]
    # practice: scenario Harbourgate: 751, 507, 307, 606 gal; 151, 102, 62, 122 kits if a
    # level were one section. The top over seeded lanes carries no fill there.
    assert [line.gross_l / GAL for line in lines] == pytest.approx([751, 507, 307, 606], abs=0.6)
    assert [line.kits for line in lines] == [151, 102, 62, 122]


def test_kits_are_whole_in_every_section_of_a_level() -> None:
    fifth = [section(0.62 * 12_000, f"S-{k}") for k in range(5)]
    found = materials(fifth, build_up(coat("BASE", "HEN-B", 25, fill_mil=5)))
    # published: 37,200/5 × 30 × 1.08 / 1604.17 = 150.27 gal → 31 kits, five times; one
    # section of the whole level would count 151
    assert bought(found) == {"HEN-B": 155}


def test_the_late_truck() -> None:
    line = materials(
        [section(9000)], build_up(coat("BASE", "HEN-B", 25, fill_mil=4), loss=0.06)
    ).coats[0]
    # practice: scenario Marden Plaza: 172.5 gal, 35 kits; 22 kits reach 5,740 ft²
    assert line.gross_l / GAL == pytest.approx(172.5, abs=0.05)
    assert line.kits == 35
    assert 22 * line.reach_m2 / FT2 == pytest.approx(5740, abs=1)
