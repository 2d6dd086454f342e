"""Wall time of the job: minutes that do not exist, and minutes that come twice."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

FORMAT = "%Y-%m-%d %H:%M"


def zone_named(name: str) -> ZoneInfo | None:
    """The time zone of an IANA name, or None."""
    try:
        return ZoneInfo(name)
    except (KeyError, ValueError, OSError):
        return None


def missing(wall: datetime, zone: ZoneInfo) -> str | None:
    """Why a naive wall time does not exist, or None where it does.

    Examples
    --------
    >>> print(missing(datetime(2027, 3, 14, 2, 30), ZoneInfo("America/New_York")))
    2027-03-14 02:30 does not exist in America/New_York: the clocks go from 02:00 to 03:00.
    """
    there = wall.replace(tzinfo=zone, fold=0).astimezone(UTC).astimezone(zone)
    if there.replace(tzinfo=None) == wall:
        return None
    before, after = (wall.replace(tzinfo=zone, fold=f).utcoffset() for f in (0, 1))
    assert before is not None and after is not None
    jump = after - before
    last = wall - timedelta(hours=25)
    # Walk to the minute of the jump; offsets change on whole minutes.
    while (last + timedelta(minutes=1)).replace(tzinfo=zone, fold=1).utcoffset() == before:
        last += timedelta(minutes=1)
    gap = last + timedelta(minutes=1)
    return (
        f"{wall:{FORMAT}} does not exist in {zone.key}: "
        f"the clocks go from {gap:%H:%M} to {gap + jump:%H:%M}."
    )


def comes_twice(wall: datetime, zone: ZoneInfo) -> bool:
    """True when the clocks are put back over this naive wall time."""
    first, second = (wall.replace(tzinfo=zone, fold=f).utcoffset() for f in (0, 1))
    return missing(wall, zone) is None and first != second
