"""Values change in the text; everything else of it stays."""

from __future__ import annotations

import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tackfree.bundle.edit import WHOLE, changed_text

TEXT = """# mine
currency = "USD"
margin = "12 %"  # of the price, "not" of cost

[[materials]]
product = "A"
each = "1.00 USD" # was # 2
lead_days = 3

[[materials]]
product = "B"
each = "2.00 USD"

[[lumps]]
id = "MOB"
"""


def test_comments_and_order_stay() -> None:
    made = changed_text(TEXT, {
        ("", None, "margin"): "15 %",
        ("materials", 0, "each"): "3.00 USD",
        ("materials", 0, "lead_days"): None,
        ("materials", 1, "room"): 40,
    })  # fmt: skip
    assert made == TEXT.replace("12 %", "15 %").replace('"1.00 USD"', '"3.00 USD"').replace(
        "lead_days = 3\n", ""
    ).replace('"2.00 USD"\n', '"2.00 USD"\nroom = 40\n')


def test_new_tables_come_at_the_end() -> None:
    made = changed_text(TEXT, {
        ("materials", 2, "product"): "C",
        ("materials", 2, "each"): "9.00 USD",
        ("scatter", None, "kind"): "10 %",
    })  # fmt: skip
    assert made.startswith(TEXT)
    read = tomllib.loads(made)
    assert read["materials"][2] == {"product": "C", "each": "9.00 USD"}
    assert read["scatter"] == {"kind": "10 %"}


def test_a_table_is_taken_out_with_its_comments_and_no_others() -> None:
    text = TEXT.replace("lead_days = 3\n", "# a note on A\nlead_days = 3\n# on B\n")
    made = changed_text(text, {
        ("materials", 0, WHOLE): None,
        ("materials", 1, "each"): "5.00 USD",
        ("materials", 2, "product"): "C",
        ("lumps", 0, WHOLE): None,
    })  # fmt: skip
    assert "# on B\n" in made
    assert "note on A" not in made
    read = tomllib.loads(made)
    assert read["materials"] == [{"product": "B", "each": "5.00 USD"}, {"product": "C"}]
    assert "lumps" not in read


def test_a_flat_table_is_a_value() -> None:
    swaps = {"BU-1": "BU-2", "a b": 'c "d"'}
    made = changed_text(TEXT, {("lumps", 0, "swaps"): swaps})
    assert tomllib.loads(made)["lumps"][0]["swaps"] == swaps
    assert tomllib.loads(changed_text(made, {("lumps", 0, "swaps"): {}}))["lumps"][0]["swaps"] == {}


def test_a_document_begins_from_nothing() -> None:
    made = changed_text("", {("", None, "schema_version"): 1, ("materials", 0, "product"): "A"})
    assert tomllib.loads(made) == {"schema_version": 1, "materials": [{"product": "A"}]}


def test_a_layout_that_cannot_be_changed_by_line_is_not_guessed_at() -> None:
    with pytest.raises(ValueError, match="laid out"):
        changed_text('materials = [{ product = "A" }]\n', {("materials", 0, "product"): "B"})


@given(st.text(), st.sampled_from(["margin", "currency", "new"]))
def test_any_text_comes_back_as_it_was(value, key) -> None:
    value = value.encode("utf-8", "ignore").decode()
    assert tomllib.loads(changed_text(TEXT, {("", None, key): value}))[key] == value
