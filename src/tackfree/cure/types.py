"""Recoat clocks."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True)
class Ends:
    """A moment with two ends, Unix seconds; None where the series ends before it.

    ``careful`` is what to count on, ``hopeful`` the best case.
    """

    careful_utc_s: float | None
    hopeful_utc_s: float | None


@dataclass(frozen=True, kw_only=True)
class Clock:
    """When one section × coat may be followed, and by when it must be.

    ``recoat_before_utc_s`` is the sheet's maximum on the wall clock from the first
    kit (None: no limit stated). ``better_before_utc_s`` is the heat-shortened time.
    ``stalled_h`` counts hours below the sheet's minimum, where no cure is credited.
    """

    placed_from_utc_s: float
    placed_to_utc_s: float
    tack_free: Ends
    recoat_after: Ends
    recoat_before_utc_s: float | None
    better_before_utc_s: float | None
    feet_after: Ends
    cars_after: Ends
    stalled_h: float = 0.0

    @property
    def no_legal_moment(self) -> bool:
        """True when recoat after (careful) falls after recoat before."""
        after, before = self.recoat_after.careful_utc_s, self.recoat_before_utc_s
        return after is not None and before is not None and after > before
