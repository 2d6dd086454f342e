"""Windows: may a step be placed from this slot on?"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from tackfree.words import Message


class State(IntEnum):
    """Order matters: a window's state is the worst of its rules."""

    GO = 0
    MEASURE = 1
    WAIT = 2
    UNKNOWN = 3


@dataclass(frozen=True, kw_only=True)
class Window:
    """A span ``[start, end)`` of starts that share state and first reason."""

    start_utc_s: int
    end_utc_s: int
    state: State
    reason: Message | None


@dataclass(frozen=True, kw_only=True)
class StartStates:
    """State of every start slot of one exposure × step × placing time.

    ``state[k]`` judges a placement that begins at ``slot0_utc_s + k*slot_s`` and
    lasts ``duration_slots``. ``rule[k]`` indexes ``rules`` for the first reason
    (-1 where GO); ``number[k]`` and ``limit[k]`` are that rule's figures in the
    rule's own unit (NaN where it has none).
    """

    slot0_utc_s: int
    slot_s: int
    duration_slots: int
    state: NDArray[np.int8]
    rule: NDArray[np.int8]
    number: NDArray[np.float64]
    limit: NDArray[np.float64]
    rules: tuple[str, ...]  # message ids, e.g. "climate.wait.dew"
