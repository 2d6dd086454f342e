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
    before, after = (_offset(wall, zone, fold) for fold in (0, 1))
    last = wall - timedelta(hours=25)
    # Walk to the minute of the jump; offsets change on whole minutes.
    while _offset(last + timedelta(minutes=1), zone, 1) == before:
        last += timedelta(minutes=1)
    gap = last + timedelta(minutes=1)
    return (
        f"{wall:{FORMAT}} does not exist in {zone.key}: "
        f"the clocks go from {gap:%H:%M} to {gap + after - before:%H:%M}."
    )


def comes_twice(wall: datetime, zone: ZoneInfo) -> bool:
    """True when the clocks are put back over this naive wall time."""
    return missing(wall, zone) is None and _offset(wall, zone, 0) != _offset(wall, zone, 1)


def _offset(wall: datetime, zone: ZoneInfo, fold: int) -> timedelta:
    return wall.replace(tzinfo=zone, fold=fold).utcoffset() or timedelta(0)
