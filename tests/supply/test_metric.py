"""Metric practice: kilograms, litres and millimetres give the same job."""

from __future__ import annotations

from dataclasses import replace

import pytest
from tests.supply.trade import FT2, GAL, MIL, PRODUCTS, build_up, coat, has, section

from tackfree.deck.types import Substrate
from tackfree.film.coverage import film_of_mass_um
from tackfree.supply.materials import job_materials
from tackfree.units import in_system, parse

BARE = Substrate(texture_um=300.0)


def materials(sections, bu, products=PRODUCTS, quantities=None):
    return job_materials(
        sections,
        quantities={s.id: (quantities or {}).get(s.id, has(s.id)) for s in sections},
        build_ups={bu.id: bu},
        products=products,
        substrates={s.id: (BARE,) for s in sections},
    )


def test_a_base_by_mass_and_quartz_by_mass() -> None:
    # practice: scenario Lindenhof: 2,400 m² at 1.6 kg/m² is 3,840 kg, 4 kg/m² is 9,600 kg
    film = film_of_mass_um(mass_kg_per_m2=1.6, density_kg_per_l=1.28)
    base = replace(
        coat("BASE", "HEN-B", 1, fill_mil=0, lb_per_100=1, sanding="covered-swept"), wft_um=film
    )
    base = replace(
        base, aggregate=replace(base.aggregate, rate_kg_per_m2=parse("4 kg/m²", "areal_mass"))
    )
    line = materials([section(2400 / FT2)], build_up(base, loss=0.0)).coats[0]
    assert line.net_l * 1.28 == pytest.approx(3840)
    assert line.aggregate_kg == pytest.approx(9600)
    # practice: the same scenario calls that 82 lb/100 ft²
    assert in_system(4.0, "areal_mass", "us")[0] == pytest.approx(82, abs=0.5)


def test_least_thickness_and_roughness_surcharge() -> None:
    top = replace(coat("TOP", "HEN-T", 1), wft_um=2000.0, surcharge_um=300.0)
    line = materials([section(900 / FT2)], build_up(top, loss=0.05)).coats[0]
    # practice: scenario Lindenhof: 900 m² at 2.0 + 0.3 mm, 5 % waste: 2,174 L
    # exactly 900 × 2.3 × 1.05 = 2,173.5
    assert line.gross_l == pytest.approx(2173.5)
    assert line.fill_basis == "supply.fill.surcharge"


@pytest.mark.parametrize(
    ("us", "si", "kind"),
    [
        ("25 mil", "0.635 mm", "film"),
        ("25 mil", "0.635 L/m²", "film"),
        ("60 lb/100 ft²", "2929.456 g/m²", "areal_mass"),
        ("5 gal", "18.927058920 L", "volume"),
    ],
)
def test_one_quantity_in_two_systems(us, si, kind) -> None:
    # published: inch, pound and gallon are exact in SI (NIST HB 44 App. C)
    assert parse(us, kind) == pytest.approx(parse(si, kind), rel=1e-6)


def test_the_same_job_in_si_takes_the_same_volumes() -> None:
    us = build_up(
        coat("PRIMER", "HEN-P", 5),
        coat("BASE", "HEN-B", 25),
        coat("TOP", "HEN-T", 15, lb_per_100=15),
    )
    films = ["127 µm", "0.635 mm", "0.381 L/m²"]
    coats = [replace(c, wft_um=parse(f, "film")) for c, f in zip(us.coats, films, strict=True)]
    si = replace(us, coats=tuple(coats))
    a = materials([section(1000)], us)
    b = materials([replace(section(1000), developed_m2=parse("92.90304 m²", "area"))], si)
    for one, other in zip(a.coats, b.coats, strict=True):
        assert one.gross_l == pytest.approx(other.gross_l, rel=1e-9)
        assert (one.kits, one.bags) == (other.kits, other.bags)


def test_loss_by_place_adds_up_to_the_one_loss() -> None:
    by = (("pails", 0.03), ("rollers", 0.02), ("edges", 0.03))
    bu = replace(build_up(coat("BASE", "HEN-B", 25), loss=0.08), loss_by=by)
    line = materials([section(1000)], bu).coats[0]
    assert [place for place, _ in line.lost_l] == ["pails", "rollers", "edges"]
    assert sum(lost for _, lost in line.lost_l) == pytest.approx(line.gross_l - line.net_l)
    plain = materials([section(1000)], build_up(coat("BASE", "HEN-B", 25))).coats[0]
    assert [place for place, _ in plain.lost_l] == ["unsplit"]


def test_terminations_take_material_of_their_own() -> None:
    bu = build_up(coat("BASE", "HEN-B", 25), termination_width_m=0.1016, loss=0.0)
    found = materials([section(1000)], bu, quantities={"S-1": has(termination_m=30.48)})
    line = next(d for d in found.details if d.kind == "termination")
    # published: 100 ft × 4 in = 33.33 ft²; at 25 mil 0.5195 gal
    assert line.area_m2 / FT2 == pytest.approx(33.333, abs=1e-3)
    assert line.volume_l / GAL == pytest.approx(33.3333 * 25 / 1604.1667, abs=1e-4)


def test_the_leftover_says_what_it_would_have_covered() -> None:
    line = materials([section(1000)], build_up(coat("BASE", "HEN-B", 25, fill_mil=0))).coats[0]
    # by hand: what is left in the last kit, spread as the rest: V / (w (1 + loss))
    assert line.leftover_m2 == pytest.approx(line.leftover_l / (25 * MIL * 1.08) * 1000)


def test_drums_metered_by_ratio_are_whole_for_the_job_only() -> None:
    drums = PRODUCTS | {"HEN-B": replace(PRODUCTS["HEN-B"], metered=True)}
    sections = [section(400, f"S-{k}") for k in range(5)]
    bu = build_up(coat("BASE", "HEN-B", 25, fill_mil=0), loss=0.0)
    kits = next(o for o in materials(sections, bu).order if o.product_id == "HEN-B")
    metered = next(o for o in materials(sections, bu, drums).order if o.product_id == "HEN-B")
    # published: 400 × 25 / 1604.17 = 6.23 gal: 2 kits each apart, 31.2 gal in 7 together
    assert (kits.count, metered.count) == (10, 7)
