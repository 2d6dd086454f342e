"""price.toml: one currency, known names, and no price where there is none."""

from __future__ import annotations

from decimal import Decimal

import pytest

from tackfree.bundle.documents.price import Money
from tackfree.bundle.load import load

FILE = "price.toml"


def test_the_demo_s_prices_are_read_and_invented(demo) -> None:
    book = load(demo.root).price
    assert book is not None
    assert book.invented
    assert book.materials["HEN-B"].each == Decimal("262.00")
    assert book.materials["HEN-B"].returns == 0.8
    assert book.margin == Decimal("0.12")


def test_a_job_without_prices_has_none(bundle) -> None:
    (bundle.root / FILE).unlink(missing_ok=True)
    assert load(bundle.root).price is None


@pytest.mark.parametrize(
    ("old", "new", "parts"),
    [
        ('each = "214.00 USD"', 'each = "214.00 EUR"', ["materials[0].each", "214.00 EUR", "USD"]),
        ('each = "214.00 USD"', 'each = "-3 USD"', ["materials[0].each", "no amount"]),
        ('each = "214.00 USD"', "each = 214", ["materials[0].each", "240.00 USD"]),
        ('product = "HEN-P"', 'product = "HEN-Q"', ["no product HEN-Q"]),
        ('build_ups = ["BU-RAMP"]', 'build_ups = ["BU-X"]', ["bid[3]", "no build-up BU-X"]),
        ('lumps = ["MOB"]', 'lumps = ["MOBS"]', ["bid[0].lumps", "no lump MOBS"]),
        ('BU-STALL = "BU-LANE"', 'BU-STALL = "BU-Y"', ["alternates[0]", "BU-Y"]),
        ('id = "BLADE"', 'id = "BLADES"', ["sundries[0]", "how long one lasts"]),
        ('one_for_area = "900 ft²"\n', "", ["sundries[7]", "how long one lasts"]),
        ('overhead = "11 %"', 'overhead = "110 %"', ["overhead"]),
    ],
)
def test_one_thing_wrong_is_one_fault_with_its_place(demo, old, new, parts) -> None:
    demo.change(FILE, old, new)
    (told,) = demo.told()
    for part in (FILE, *parts):
        assert part in told, told


@pytest.mark.parametrize("text", ["240 USD", "240.00 USD", "240,00 USD"])
def test_money_takes_both_decimal_marks(text) -> None:
    assert Money.read(text) == Money(Decimal("240"), "USD")
