"""Deliveries from days of use: none too late, none over the room, as few as can be."""

from __future__ import annotations

import math
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tackfree.errors import InputError
from tackfree.supply.deliveries import Use, deliveries, working_day_before

MONDAY = date(2027, 4, 19)


def test_ordered_the_days_of_delivery_before_the_working_day_before_the_first_use() -> None:
    (one,) = deliveries([Use(on=MONDAY, count=9)], spare=2, lead_days=6)
    # by hand: there on Friday 16 April; six days before it is Saturday 10, so Friday 9
    assert one.arrives == date(2027, 4, 16)
    assert one.order_by == date(2027, 4, 9)
    assert (one.count, one.spare) == (11, 2)


def test_a_holiday_is_no_day_for_a_truck() -> None:
    # by hand: Tuesday's truck comes on Monday, unless that is Memorial Day
    tuesday, holiday = date(2027, 6, 1), date(2027, 5, 31)
    assert working_day_before(tuesday) == holiday
    assert working_day_before(tuesday, {holiday}) == date(2027, 5, 28)


def test_split_where_the_store_is_full_and_spares_come_last() -> None:
    uses = [Use(on=MONDAY + timedelta(days=d), count=40) for d in range(4)]
    trucks = deliveries(uses, spare=5, lead_days=1, room=90)
    assert [(t.count, t.spare, t.over_room) for t in trucks] == [(80, 0, 0), (85, 5, 0)]
    assert [t.first_use for t in trucks] == [MONDAY, MONDAY + timedelta(days=2)]


def test_a_day_that_needs_more_than_the_room_says_so() -> None:
    (one,) = deliveries([Use(on=MONDAY, count=50)], room=40)
    assert (one.count, one.over_room, one.order_by) == (50, 10, None)


def test_what_gets_too_old_is_ordered_later() -> None:
    uses = [Use(on=MONDAY, count=1), Use(on=MONDAY + timedelta(days=100), count=1)]
    assert len(deliveries(uses, keeps_days=90)) == 2
    assert len(deliveries(uses, keeps_days=120)) == 1


def test_nothing_used_is_nothing_delivered() -> None:
    assert deliveries([]) == ()
    assert deliveries([Use(on=MONDAY, count=0)]) == ()
    with pytest.raises(InputError, match="room"):
        deliveries([Use(on=MONDAY, count=1)], room=0)


days = st.lists(st.tuples(st.integers(0, 60), st.integers(1, 30)), min_size=1, max_size=20)


@given(days, st.integers(30, 100), st.integers(0, 20))
def test_all_of_it_comes_in_time_and_fits(drawn, room, lead) -> None:
    uses = [Use(on=MONDAY + timedelta(days=d), count=n) for d, n in drawn]
    trucks = deliveries(uses, lead_days=lead, room=room)
    assert sum(t.count for t in trucks) == sum(u.count for u in uses)
    for t in trucks:
        assert t.arrives < t.first_use
        assert t.order_by is not None
        assert (t.arrives - t.order_by).days >= lead
        mine = sum(u.count for u in uses if t.first_use <= u.on <= t.last_use)
        assert mine == t.count
    busiest = max(sum(u.count for u in uses if u.on == d) for d in {u.on for u in uses})
    if busiest <= room:
        assert all(t.over_room == 0 for t in trucks)
        # two neighbours never fit into one, so there are at most twice the least plus one
        assert len(trucks) <= 2 * math.ceil(sum(u.count for u in uses) / room) + 1
