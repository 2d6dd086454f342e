"""When what is ordered must be there: deliveries from the days on which it is used."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Container, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from tackfree.errors import InputError

SATURDAY = 5


@dataclass(frozen=True, kw_only=True)
class Use:
    """Packages of one product opened on one day."""

    on: date
    count: int


@dataclass(frozen=True, kw_only=True)
class Delivery:
    """One truck's packages of one product, and the days they serve.

    ``order_by`` is None where nobody has said how long delivery takes. ``spare`` of the
    packages are beyond what is worked out; ``over_room`` are more than the site can keep.
    """

    order_by: date | None
    arrives: date
    first_use: date
    last_use: date
    count: int
    spare: int = 0
    over_room: int = 0


def deliveries(
    uses: Sequence[Use],
    *,
    spare: int = 0,
    lead_days: int | None = None,
    room: int | None = None,
    keeps_days: int | None = None,
    closed: Container[date] = frozenset(),
) -> tuple[Delivery, ...]:
    """As few deliveries as room and shelf life allow, each there the working day before.

    Spares ride with the last one: a shortage before it is made good from what is still to
    come, and by then the logged kits have shown what this deck takes.

    Parameters
    ----------
    uses : sequence of Use
        In any order; days may repeat.
    spare : int
        Packages beyond the uses.
    lead_days : int, optional
        Calendar days from order to delivery.
    room : int, optional
        Most packages that the site can keep. A day that needs more gets a delivery of its
        own, which says by how many.
    keeps_days : int, optional
        Days for which a package keeps from its delivery on.
    closed : container of dates
        Days on which nothing is delivered or ordered, besides Saturdays and Sundays.

    Returns
    -------
    tuple of Delivery
        By date; empty without uses.

    Raises
    ------
    InputError
        If there is no room for a single package.

    Source
    ------
    Exact: with none carried over, filling each delivery as far as it goes takes the
    fewest.
    """
    if room is not None and room < 1:
        raise InputError(
            f"room for {room} packages; it must be 1 or more.",
            do="Enter the most packages that the site can keep, or leave it out.",
        )
    by_day: dict[date, int] = defaultdict(int)
    for use in uses:
        by_day[use.on] += use.count
    groups: list[list[date]] = []
    for on in sorted(d for d, count in by_day.items() if count > 0):
        if groups:
            held = sum(by_day[d] for d in groups[-1])
            fits = room is None or held + by_day[on] <= room
            keeps = keeps_days is None or (on - groups[-1][0]).days < keeps_days
            if fits and keeps:
                groups[-1].append(on)
                continue
        groups.append([on])
    out = []
    for i, days in enumerate(groups):
        mine = spare if i == len(groups) - 1 else 0
        count = sum(by_day[d] for d in days) + mine
        arrives = working_day_before(days[0], closed)
        order_by = None
        if lead_days is not None:
            order_by = _back_to_work(arrives - timedelta(days=lead_days), closed)
        out.append(
            Delivery(
                order_by=order_by,
                arrives=arrives,
                first_use=days[0],
                last_use=days[-1],
                count=count,
                spare=mine,
                over_room=max(0, count - room) if room is not None else 0,
            )
        )
    return tuple(out)


def working_day_before(day: date, closed: Container[date] = frozenset()) -> date:
    """The last day before this one on which a truck can come.

    >>> working_day_before(date(2027, 4, 19)).isoformat()  # a Monday
    '2027-04-16'
    """
    return _back_to_work(day - timedelta(days=1), closed)


def _back_to_work(day: date, closed: Container[date]) -> date:
    while day.weekday() >= SATURDAY or day in closed:
        day -= timedelta(days=1)
    return day
