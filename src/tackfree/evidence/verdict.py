"""SHOWN, SHORT or NOT SHOWN: what may be said of a patch of deck.

The contract's counting rule stands first. The chance comes from joint draws of the whole
film, because "nine tenths of the patch" is a statement about all its spots at once; the
product of chances spot by spot is another and wrong number.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from tackfree.evidence.balance import Clash
from tackfree.evidence.field import Field
from tackfree.evidence.grid import BoolArray
from tackfree.evidence.kernel import FloatArray
from tackfree.evidence.rules import RuleResult
from tackfree.words import Message

DRAWS = 400
SURE = 0.95
NOISE = 1.645  # standard errors of a chance counted over draws that a decision stays clear of
FEWEST_READINGS = 5  # kits alone cannot see what varies inside a cell


class State(StrEnum):
    SHOWN = "shown"
    SHORT = "short"
    NOT_SHOWN = "not-shown"


@dataclass(frozen=True, kw_only=True)
class Claim:
    """What is to be shown of a patch.

    At least ``share`` of it has ``least_um`` or more, and its mean is ``average_um`` or
    more (None: the mean is not asked about).
    """

    least_um: float
    share: float = 0.9
    average_um: float | None = None


@dataclass(frozen=True, kw_only=True)
class Patch:
    """A piece of deck judged at once: nodes, and the readings and kits that lie in it."""

    id: str
    mask: BoolArray
    readings: int
    kits: int


@dataclass(frozen=True, kw_only=True)
class Verdict:
    """What may be said of one patch. Films in µm, volume in L.

    ``p_share`` and ``p_average`` are chances of the claim's two parts, never 0 or 1:
    ``draws`` bounds what can be told. ``thinnest`` is the node of least mean film.
    ``top_up_l`` brings the thin places up to the claim's average, without loss.
    """

    patch_id: str
    state: State
    p_share: float
    p_average: float | None
    share_mean: float
    share_band: tuple[float, float]
    mean_um: float
    mean_sd_um: float
    thinnest: tuple[int, int]
    thinnest_um: float
    top_up_l: float
    readings: int
    kits: int
    draws: int
    rules: tuple[RuleResult, ...]
    messages: tuple[Message, ...]
    beside: tuple[RuleResult, ...] = ()  # told next to the chance; they do not decide

    @property
    def p(self) -> float:
        """The chance that both parts hold is no more than this."""
        return self.p_share if self.p_average is None else min(self.p_share, self.p_average)


@dataclass(frozen=True, kw_only=True)
class Judged:
    """Verdicts, and at each node mean film [µm] and the chance of the film asked for.

    That is the claim's average where it has one, its least film otherwise.
    """

    verdicts: tuple[Verdict, ...]
    mean_um: FloatArray
    chance: FloatArray


def judge(
    field: Field,
    patches: Sequence[Patch],
    claim: Claim,
    *,
    node_m2: float,
    seed: int,
    rules: Sequence[Sequence[RuleResult]] = (),
    clashes: Sequence[Clash | None] = (),
    beside: Sequence[Sequence[RuleResult]] = (),
    sure: float = SURE,
    draws: int = DRAWS,
) -> Judged:
    """Judge patches from joint draws of the film.

    Parameters
    ----------
    field : Field
        In µm and m.
    patches : sequence of Patch
    claim : Claim
    node_m2 : float
        Area of a node. [m²]
    seed : int
        Of the draws; the same seed gives the same verdicts.
    rules, clashes : sequences as long as ``patches``, or empty
        The contract's counting rules, and gauge against kits.
    beside : sequence as long as ``patches``, or empty
        Other rules, told and not decided by.
    sure : float
        Chance from which a patch counts as shown; short is as far from 0.
    draws : int
        400 or more where bands are wanted.

    Returns
    -------
    Judged

    Source
    ------
    Modelled: :mod:`tackfree.evidence.field`.
    """
    micro, asked = field.spread.micro, claim.average_um
    masks = np.array([p.mask.ravel() for p in patches], dtype=np.float32)
    masks /= masks.sum(1, keepdims=True)
    shares, means = [], []
    total = np.zeros(field.evidence.shape)
    for batch in field.draws(draws, seed):
        hit = _above(batch, claim.least_um, micro)
        total += (hit if asked is None else _above(batch, asked, micro)).sum(0, dtype=np.float64)
        flat = len(batch), -1
        shares.append(hit.reshape(flat) @ masks.T)
        means.append(batch.reshape(flat) @ masks.T)
    share, mean = np.concatenate(shares), np.concatenate(means)
    film = field.mean()
    verdicts = []
    for k, patch in enumerate(patches):
        verdicts.append(
            _verdict(
                patch, claim, share[:, k], mean[:, k], film, node_m2,
                tuple(rules[k]) if rules else (), clashes[k] if clashes else None,
                tuple(beside[k]) if beside else (), sure,
            )
        )  # fmt: skip
    return Judged(verdicts=tuple(verdicts), mean_um=film, chance=total / draws)


def _above(film: NDArray[np.float32], least: float, micro: float) -> NDArray[np.float32]:
    """Share of each node's own ridges at or above the least film."""
    if micro == 0:
        return (film >= least).astype(np.float32)
    return np.asarray(ndtr((film - np.float32(least)) / np.float32(micro)), dtype=np.float32)


def _verdict(
    patch: Patch,
    claim: Claim,
    share: NDArray[np.float32],
    mean: NDArray[np.float32],
    film: FloatArray,
    node_m2: float,
    rules: tuple[RuleResult, ...],
    clash: Clash | None,
    beside: tuple[RuleResult, ...],
    sure: float,
) -> Verdict:
    m = len(share)

    def chance(hits: NDArray[np.bool_]) -> float:
        return float(np.clip(hits.mean(), 1 / m, 1 - 1 / m))

    p_share = chance(share >= claim.share - 1e-6)
    p_average = None if claim.average_um is None else chance(mean >= claim.average_um)
    thin = np.where(patch.mask, film, np.inf)
    row, col = divmod(int(thin.argmin()), film.shape[1])
    target = claim.least_um if claim.average_um is None else claim.average_um
    missing = np.maximum(target - film[patch.mask], 0).sum()
    p = p_share if p_average is None else min(p_share, p_average)
    state, why = _state(p, patch, rules, clash, sure, m)
    return Verdict(
        patch_id=patch.id,
        state=state,
        p_share=p_share,
        p_average=p_average,
        share_mean=float(share.mean()),
        share_band=(float(np.quantile(share, 0.05)), float(np.quantile(share, 0.95))),
        mean_um=float(film[patch.mask].mean()),
        mean_sd_um=float(mean.std(ddof=1)),
        thinnest=(row, col),
        thinnest_um=float(thin.min()),
        top_up_l=float(missing) * node_m2 / 1000.0,
        readings=patch.readings,
        kits=patch.kits,
        draws=m,
        rules=rules,
        messages=why,
        beside=beside,
    )


def _state(
    p: float,
    patch: Patch,
    rules: tuple[RuleResult, ...],
    clash: Clash | None,
    sure: float,
    draws: int,
) -> tuple[State, tuple[Message, ...]]:
    """The word, and why it is not the word the chance alone would give."""
    if clash is not None:
        return State.NOT_SHOWN, (clash.message, *clash.causes)
    broken = [r for r in rules if r.holds is False]
    noise = NOISE * math.sqrt(sure * (1 - sure) / draws)
    best = 1 - 1 / draws  # what so many draws can tell at all
    if 1 - p >= min(sure + noise, best):
        return State.SHORT, ()
    if p < min(sure + noise, best):
        if p < sure and 1 - p < sure:
            return State.NOT_SHOWN, ()
        near = {"sure_pct": round(100 * sure), "noise_pct": math.ceil(100 * noise)}
        return State.NOT_SHOWN, (Message(id="acceptance.too_near", values=near),)
    if broken:
        return State.NOT_SHOWN, (Message(id="evidence.held_by_rule"),)
    if patch.readings < FEWEST_READINGS:
        held = Message(
            id="evidence.held_by_readings",
            values={"count": patch.readings, "wanted": FEWEST_READINGS},
        )
        return State.NOT_SHOWN, (held,)
    return State.SHOWN, ()
