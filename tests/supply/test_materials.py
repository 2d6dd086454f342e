"""Fill under each coat, whole kits, details and what is said where something lacks."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.supply.test_scenarios import bought, materials
from tests.supply.trade import FT2, GAL, MIL, PRODUCTS, build_up, coat, has, liquid, section

from tackfree.buildup.types import Role
from tackfree.deck.takeoff_types import CrackRun, JointRun
from tackfree.deck.types import Substrate
from tackfree.errors import InputError, NotFound
from tackfree.supply.coats import coat_line
from tackfree.supply.details import detail_lines
from tackfree.supply.fill import MISSING, fill_under
from tackfree.supply.materials import job_materials

STALL = build_up(
    coat("PRIMER", "HEN-P", 5),
    coat("BASE", "HEN-B", 25),
    coat("INTER", "HEN-I", 15, lb_per_100=15),
    coat("TOP", "HEN-T", 15),
)


def fills(bu, *substrates):
    return [
        fill_under(i, bu, products=PRODUCTS, substrates=substrates) for i in range(len(bu.coats))
    ]


def test_fill_belongs_to_the_surface_under_each_coat() -> None:
    primer, base, inter, top = fills(STALL, Substrate(texture_um=10 * MIL))
    assert (primer.um, primer.basis) == (0.0, "supply.fill.primer")
    # published: 10 mil of texture less a 5 mil primer of 50 % solids leaves 7.5 mil
    assert base.um == pytest.approx(7.5 * MIL)
    assert (inter.um, inter.basis) == (0.0, "supply.fill.level")
    assert top.basis == "supply.fill.sand"
    assert (top.um or 0) > 0


def test_a_primer_deeper_than_the_profile_leaves_nothing_to_fill() -> None:
    assert fills(STALL, Substrate(texture_um=1 * MIL))[1].um == 0.0


def test_a_base_on_bare_concrete_takes_the_profile_itself() -> None:
    bare = build_up(coat("BASE", "HEN-B", 25))
    assert fills(bare, Substrate(texture_um=8 * MIL))[0].um == pytest.approx(8 * MIL)
    by_class = fills(bare, Substrate(csp=4))[0]
    assert by_class.basis == "supply.fill.profile"
    assert by_class.um is not None
    assert by_class.um > 0


def test_old_film_is_taken_as_level_and_the_thirstiest_of_several_counts() -> None:
    bare = build_up(coat("BASE", "HEN-B", 25))
    assert fills(bare, Substrate(kind="old-film"))[0].um == 0.0
    two = fills(bare, Substrate(texture_um=100.0), Substrate(texture_um=300.0))[0]
    assert two.um == 300.0


def test_a_missing_fill_is_shown_as_missing_and_the_count_as_the_least() -> None:
    found = materials([section(1000)], STALL, substrate=Substrate())
    base = found.coats[1]
    assert base.fill_basis == MISSING
    assert base.figures["fill_um"].value is None
    assert base.figures["kits"].formula.startswith("at least")
    note = next(m for m in found.messages if m.id == "supply.note.fill-missing")
    assert note.values == {"coat": "BASE", "sections": "S-1"}


def test_sand_of_unknown_grain_leaves_the_fill_over_it_missing() -> None:
    blind = PRODUCTS | {"SAND-1630": replace(PRODUCTS["SAND-1630"], grain_mm=None)}
    top = fill_under(3, STALL, products=blind, substrates=[Substrate(csp=3)])
    assert (top.um, top.basis) == (None, MISSING)


def test_a_coat_may_have_a_loss_of_its_own() -> None:
    bu = build_up(coat("BASE", "HEN-B", 25, fill_mil=0, loss=0.5), loss=0.1)
    line = materials([section(1000)], bu).coats[0]
    assert line.gross_l == pytest.approx(line.net_l * 1.5)


def test_every_quantity_can_be_asked_why() -> None:
    line = materials([section(1000)], STALL).coats[2]
    for name, figure in line.figures.items():
        assert figure.value == pytest.approx(getattr(line, name)), name
        assert figure.formula
        assert figure.inputs or name == "fill_um", name


@pytest.mark.outside
def test_whole_kits_at_an_exact_fit(check) -> None:
    c = check("cost-whole-kits")
    given_, kits = c["inputs"], c["expected"]["kits"]
    for ft2, rate, kit, n in zip(
        given_["area_ft2"], given_["rate_ft2_per_gal"], given_["kit_gal"], kits, strict=True
    ):
        product = liquid("HEN-B", Role.BASE, kit_gal=kit)
        bu = build_up(coat("BASE", "HEN-B", 231e3 / 144 / rate, fill_mil=0), loss=0.0)
        line = coat_line(
            section(ft2), bu.coats[0], product=product, loss=0.0,
            fill=fill_under(0, bu, products=PRODUCTS, substrates=[Substrate()]),
        )  # fmt: skip
        assert line.kits == n


@given(st.floats(1, 1e5), st.floats(1.0, 3.0))
def test_more_floor_never_takes_fewer_kits(ft2, more) -> None:
    a, b = (materials([section(x)], STALL).coats for x in (ft2, ft2 * more))
    for small, large in zip(a, b, strict=True):
        assert small.kits <= large.kits
        assert small.leftover_l + 1e-6 >= 0
        assert small.leftover_l < small.kit_l
        assert small.kits * small.kit_l - small.gross_l == pytest.approx(small.leftover_l)


@given(st.lists(st.floats(10, 5000), min_size=1, max_size=6))
def test_the_order_is_the_sum_of_the_sections(areas) -> None:
    sections = [section(a, f"S-{k}") for k, a in enumerate(areas)]
    found = materials(sections, STALL)
    for line in found.order:
        mine = [c for c in found.coats if c.product_id == line.product_id]
        if line.unit == "kit":
            assert line.count == sum(c.kits for c in mine)
            assert line.leftover == pytest.approx(sum(c.leftover_l for c in mine), abs=1e-6)
            assert line.needed == pytest.approx(sum(c.gross_l for c in mine))


CRACKED = has(
    cracks=(
        CrackRun(width_m=0.001, length_m=30.48, rout=False),
        CrackRun(width_m=0.003, length_m=30.48, rout=True),
    ),
    joints=(
        JointRun(width_m=0.0127, depth_m=0.0127, length_m=30.48),
        JointRun(width_m=0.05, depth_m=0.025, length_m=10.0),
    ),
    drains=2,
)


def test_cracks_joints_and_drains() -> None:
    lines = {
        (d.kind, round(d.length_m, 2)): d
        for d in detail_lines("S-1", CRACKED, build_up=build_up(loss=0.0), products=PRODUCTS)
    }
    # published: 200 ft of crack at 8 in total is 133.3 ft²; at 25 mil 2.078 gal
    assert lines["crack-strip", 60.96].area_m2 / FT2 == pytest.approx(133.33, abs=0.01)
    assert lines["crack-strip", 60.96].volume_l / GAL == pytest.approx(2.078, abs=1e-3)
    # published: 1 gal fills 231 in³ / (1/4 × 1/4 in) = 308 ft, so 100 ft take 0.325 gal
    assert lines["crack-sealant", 30.48].volume_l / GAL == pytest.approx(100 / 308, abs=1e-6)
    # published: 77 ft a gallon at 1/2 × 1/2 in
    assert lines["joint-sealant", 30.48].volume_l / GAL == pytest.approx(100 / 77, abs=1e-6)
    # practice: a joint of 2 in moves and is not coated over
    assert lines["joint-strip", 30.48].area_m2 == pytest.approx(30.48 * 0.2032)
    assert ("drain", 0.0) in lines


def test_details_of_one_product_are_summed_before_they_are_rounded() -> None:
    lines = detail_lines("S-1", CRACKED, build_up=build_up(), products=PRODUCTS)
    for product in ("HEN-D", "SEAL-1"):
        mine = [d for d in lines if d.product_id == product]
        held = mine[0]
        assert held.packages * held.package_l >= sum(d.volume_l for d in mine)
        assert (held.packages - 1) * held.package_l < sum(d.volume_l for d in mine)
        assert all(d.packages == 0 and d.packed_with == held.kind for d in mine[1:])


def test_details_smaller_than_a_kit_are_offered_together() -> None:
    sections = [section(1000, f"S-{k}") for k in range(3)]
    found = materials(sections, build_up(), {s.id: has(s.id, drains=1) for s in sections})
    assert bought(found) == {"HEN-D": 3}
    (offer,) = found.messages
    # published: a drain of 4 ft² at 25 mil and 8 % is 0.067 gal; a kit holds 2 gal
    assert offer.values == {
        "coat": "DETAILS", "product": "HEN-D", "sections": "S-0, S-1, S-2",
        "apart": 3, "together": 1,
    }  # fmt: skip


def test_a_section_without_details_has_no_detail_lines() -> None:
    assert detail_lines("S-1", has(), build_up=build_up(), products=PRODUCTS) == ()


def test_coves_fill_a_triangle_along_walls_and_columns() -> None:
    lines = detail_lines(
        "S-1", has(upturn_m=10.0, upturn_m2=1.0, obstacle_edge_m=5.0),
        build_up=build_up(cove_leg_m=0.0254, loss=0.0), products=PRODUCTS,
    )  # fmt: skip
    cove = next(d for d in lines if d.kind == "cove")
    # published: 15 m × 25.4 mm × 25.4 mm / 2 = 4.839 L
    assert cove.volume_l == pytest.approx(4.8387, abs=1e-4)


def test_what_lacks_is_named_with_its_place() -> None:
    bare = PRODUCTS | {"HEN-B": replace(PRODUCTS["HEN-B"], kit=None)}
    given_ = {
        "quantities": {"S-1": has()},
        "build_ups": {"BU": STALL},
        "substrates": {"S-1": (Substrate(csp=3),)},
    }
    with pytest.raises(InputError, match=r"Section S-1, coat BASE: product HEN-B has no kit"):
        job_materials([section(100)], products=bare, **given_)
    without = {k: v for k, v in PRODUCTS.items() if k != "HEN-T"}
    with pytest.raises(NotFound, match=r"HEN-T is not in the job"):
        job_materials([section(100)], products=without, **given_)


def test_no_sections_need_nothing() -> None:
    assert bought(materials([], STALL)) == {}
