"""Canonical JSON spells each value in one way, the way a browser does."""

from __future__ import annotations

import json
import math

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from tackfree.errors import InputError
from tackfree.record.canonical import canonical, canonical_known, is_ulid, number, spelled, ulid

# published: RFC 8785, appendix B, "Number Serialization Samples"
SAMPLES = [
    ("0000000000000000", "0"),
    ("8000000000000000", "0"),
    ("0000000000000001", "5e-324"),
    ("8000000000000001", "-5e-324"),
    ("7fefffffffffffff", "1.7976931348623157e+308"),
    ("4340000000000000", "9007199254740992"),
    ("c340000000000000", "-9007199254740992"),
    ("4430000000000000", "295147905179352830000"),
    ("44b52d02c7e14af5", "9.999999999999997e+22"),
    ("44b52d02c7e14af6", "1e+23"),
    ("44b52d02c7e14af7", "1.0000000000000001e+23"),
    ("444b1ae4d6e2ef4e", "999999999999999700000"),
    ("444b1ae4d6e2ef4f", "999999999999999900000"),
    ("444b1ae4d6e2ef50", "1e+21"),
    ("3eb0c6f7a0b5ed8c", "9.999999999999997e-7"),
    ("3eb0c6f7a0b5ed8d", "0.000001"),
    ("41b3de4355555553", "333333333.3333332"),
    ("41b3de4355555557", "333333333.33333343"),
    ("becbf647612f3696", "-0.0000033333333333333333"),
]


@pytest.mark.outside
@pytest.mark.parametrize(("bits", "text"), SAMPLES)
def test_numbers_as_a_browser_writes_them(bits: str, text: str) -> None:
    import struct

    (value,) = struct.unpack(">d", bytes.fromhex(bits))
    assert number(value) == text


@pytest.mark.outside
def test_keys_are_sorted_by_utf16() -> None:
    # published: RFC 8785, section 3.2.3, sorting sample
    given_keys = ["\u20ac", "\r", "\ufb33", "1", "\U0001f600", "\u0080", "\u00f6"]
    order = ["\r", "1", "\u0080", "\u00f6", "\u20ac", "\U0001f600", "\ufb33"]
    assert list(json.loads(canonical(dict.fromkeys(given_keys, 0)))) == order


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_a_number_reads_back(value: float) -> None:
    assert float(number(value)) == value


json_values = st.recursive(
    st.none() | st.booleans() | st.integers(-(2**53) + 1, 2**53 - 1) | st.text(),
    lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner),
    max_leaves=12,
)


@given(json_values)
def test_a_value_reads_back_and_is_spelled_the_same_again(value: object) -> None:
    text = canonical(value)
    assert json.loads(text) == value
    assert canonical(json.loads(text)) == text


with_floats = st.recursive(
    st.none() | st.booleans() | st.floats(allow_nan=False, allow_infinity=False)
    | st.integers(-(2**53) + 1, 2**53 - 1) | st.text(),
    lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner),
    max_leaves=12,
)  # fmt: skip


@example(2.0**53)
@given(with_floats)
def test_the_quick_way_spells_as_the_rules_do(value: object) -> None:
    assert canonical(value) == spelled(value)


@pytest.mark.parametrize(
    "bad", [math.nan, math.inf, 2**53, {1: "a"}, b"bytes", {"a": object()}, "\ud800"]
)
def test_what_is_not_json_is_refused(bad: object) -> None:
    with pytest.raises(InputError):
        canonical(bad)


def test_ids_sort_by_time() -> None:
    early = ulid(time_ms=1_000, randomness=b"\xff" * 10)
    late = ulid(time_ms=1_001, randomness=bytes(10))
    assert early < late
    assert is_ulid(early)
    with pytest.raises(InputError):
        ulid(time_ms=-1, randomness=bytes(10))


@pytest.mark.parametrize("bad", [None, 5, "", "8" + "0" * 25, "0" * 25, "I" * 26, "0" * 27])
def test_what_is_no_id(bad: object) -> None:
    assert not is_ulid(bad)


VALUES = st.recursive(
    st.none() | st.booleans() | st.integers(-(2**53) + 1, 2**53 - 1) | st.text(max_size=8)
    | st.floats(allow_nan=False, allow_infinity=False) | st.sampled_from([24.0, -0.0, 1e16, 1e-5]),
    lambda inner: st.lists(inner, max_size=3)
    | st.dictionaries(st.sampled_from(["slab_c", "rh", "x_m", "note"]), inner, max_size=3),
    max_leaves=8,
)  # fmt: skip


@given(st.dictionaries(st.sampled_from(["text", "rows", "photos"]), VALUES))
def test_the_quick_spelling_is_the_same(value: dict[str, object]) -> None:
    try:
        expected = spelled(value)
    except InputError:  # half a character
        return
    assert canonical_known(value) == expected
