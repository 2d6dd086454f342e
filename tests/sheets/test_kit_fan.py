"""The fan of kits to finish."""

from __future__ import annotations

import re
from datetime import date, timedelta
from xml.etree import ElementTree as ET

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tackfree.sheets.kit_fan import FanDay, FanWords, KitFan, kit_fan_svg
from tackfree.sheets.svg import text_width

FIRST = date(2027, 4, 22)


def made(days: list[tuple[int, int, int]], stock: list[tuple[int, int]], deadline: int | None):
    return KitFan(
        title="HEN-B: 31 to 38 more kits (likely 34)",
        begin=FIRST,
        days=tuple(
            FanDay(on=FIRST + timedelta(days=k), low=a, likely=b, high=c)
            for k, (a, b, c) in enumerate(days)
        ),
        stock=tuple((FIRST + timedelta(days=k), n) for k, n in stock),
        deadline=None if deadline is None else FIRST + timedelta(days=deadline),
        words=FanWords(
            likely="likely", range="eight jobs in ten", stock="on hand",
            deadline="order 9 by Thu 22 Apr" if deadline is not None else "",
            kits="kits from now on", day=tuple(f"day {k}" for k in range(len(days))),
        ),
    )  # fmt: skip


def test_the_same_bytes_and_no_style() -> None:
    fan = made([(2, 3, 4), (5, 6, 8)], [(0, 5), (1, 9)], 1)
    assert kit_fan_svg(fan) == kit_fan_svg(fan)
    assert "style=" not in kit_fan_svg(fan)
    ET.fromstring(kit_fan_svg(fan))


@given(
    days=st.lists(st.tuples(st.integers(1, 30), st.integers(0, 9), st.integers(0, 9)),
                  min_size=1, max_size=25),
    deadline=st.none() | st.integers(-20, 24),
    width=st.sampled_from([360.0, 900.0]),
)  # fmt: skip
def test_nothing_leaves_the_paper(days, deadline, width) -> None:
    total, rows = [0, 0, 0], []
    for a, b, c in days:
        total = [total[0] + a, total[1] + a + b, total[2] + a + b + c]
        rows.append(tuple(total))
    svg = kit_fan_svg(made(rows, [(0, 7)], deadline), width=width)
    root = ET.fromstring(svg)
    high = float(root.get("height", 0))
    for e in root.iter():
        if e.tag.endswith("}text"):
            wide = text_width(e.text or "", float(e.get("font-size", 0)))
            x = float(e.get("x", 0))
            start = {"middle": x - wide / 2, "end": x - wide}.get(e.get("text-anchor", ""), x)
            assert start > -1
            if (e.text or "").startswith("order"):
                assert start + wide <= width + 1
    for d in re.findall(r'<path d="([^"]+)"', svg):
        xy = [float(n) for n in re.findall(r"-?\d+(?:\.\d+)?", d)]
        assert all(-0.1 <= x <= width + 0.1 for x in xy[0::2])
        assert all(-0.1 <= y <= high + 0.1 for y in xy[1::2])


@pytest.mark.parametrize(("most", "step"), [(3, 1), (9, 2), (23, 5), (48, 10), (270, 100)])
def test_lines_stand_at_round_numbers(most: int, step: int) -> None:
    svg = kit_fan_svg(made([(most, most, most)], [(0, 0)], None))
    marks = [int(t) for t in re.findall(r'text-anchor="end"[^>]*>(\d+)<', svg)]
    assert marks[:2] == [0, step]
    assert marks[-1] >= most
