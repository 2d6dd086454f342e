"""How often a counting rule passes a deck that is short: its operating characteristic.

A rule on a handful of readings is a coin with an edge. Before it is agreed to, this tells
how often it lets a deck through of which a given share is under the specified film.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import stats

from tackfree.errors import InputError
from tackfree.evidence.rules import ContractRule, SpotRule

TRIALS = 20_000
BATCH = 2_000


def accept_chance(count: int, allowed: int, short_share: float, *, lot: int | None = None) -> float:
    """Chance that a sample has no more short ones than are allowed.

    Parameters
    ----------
    count : int
        Sample size, 1 or more.
    allowed : int
        Short ones that still pass.
    short_share : float
        True share that is short, 0 to 1.
    lot : int, optional
        Pieces there are in all, where the sample takes a good part of them.

    Returns
    -------
    float

    Raises
    ------
    InputError
        If a number is out of its range.

    Source
    ------
    Exact: binomial, or hypergeometric for a lot, as ISO 2859-1 and the NIST/SEMATECH
    e-Handbook of Statistical Methods 6.2.3 take them.

    Examples
    --------
    >>> round(accept_chance(20, 0, 0.10), 4)
    0.1216
    """
    if count < 1 or allowed < 0 or not 0 <= short_share <= 1 or (lot is not None and lot < count):
        raise InputError(
            f"sample of {count}, {allowed} allowed, short share {short_share:g}, lot {lot}.",
            do="Take one or more, no more than the lot; write 10 % as 0.1.",
        )
    if lot is None:
        return float(stats.binom.cdf(allowed, count, short_share))
    return float(stats.hypergeom.cdf(allowed, lot, round(short_share * lot), count))


@dataclass(frozen=True, kw_only=True)
class Deck:
    """A deck as a rule may meet it. [µm]

    ``short_share`` of it is under ``specified_um``; film is normal with ``sd_um`` from
    area to area and ``spot_sd_um`` within one; ``read_sd_um`` is of a single look.
    """

    specified_um: float
    short_share: float
    sd_um: float
    spot_sd_um: float = 0.0
    read_sd_um: float = 0.0

    def __post_init__(self) -> None:
        if not 0 < self.short_share < 1 or not self.sd_um > 0 or not self.specified_um > 0:
            raise InputError(
                f"short share {self.short_share:g}, sd {self.sd_um:g} µm of "
                f"{self.specified_um:g} µm make no deck.",
                do="Give a share between 0 and 1, and film and its sd above 0.",
            )

    @property
    def mean_um(self) -> float:
        """Mean film that leaves just ``short_share`` under the specified."""
        all_sd = float(np.hypot(self.sd_um, self.spot_sd_um))
        return self.specified_um - float(stats.norm.ppf(self.short_share)) * all_sd


def contract_passes(deck: Deck, count: int, rule: ContractRule, *, seed: int) -> float:
    """Share of decks that the contract's average, floor and share let pass.

    Parameters
    ----------
    deck : Deck
    count : int
        Readings far apart, 1 or more.
    rule : ContractRule
    seed : int

    Returns
    -------
    float
        Good to 0.004 (20,000 decks drawn).

    Source
    ------
    Modelled: independent normal readings; exact in parts, see :func:`accept_chance`.
    """
    if count < 1:
        raise InputError(f"{count} readings.", do="Take one or more.")
    rng = np.random.default_rng(seed)
    sd = float(np.sqrt(deck.sd_um**2 + deck.spot_sd_um**2 + deck.read_sd_um**2))
    passed = 0
    for _ in range(TRIALS // BATCH):
        read = deck.mean_um + sd * rng.standard_normal((BATCH, count))
        ok = read.mean(1) >= deck.specified_um
        ok &= read.min(1) >= rule.floor * deck.specified_um
        if rule.share is not None:
            ok &= (read >= deck.specified_um).sum(1) >= rule.share * count - 1e-9
        passed += int(ok.sum())
    return passed / TRIALS


def spots_pass(deck: Deck, areas: int, rule: SpotRule, *, most_um: float, seed: int) -> float:
    """Share of decks that a standard's rule of spots and areas lets pass.

    Parameters
    ----------
    deck : Deck
    areas : int
        As :func:`tackfree.evidence.rules.areas_to_measure` asks; 1 or more.
    rule : SpotRule
    most_um : float
        Specified most film. [µm]
    seed : int

    Returns
    -------
    float
        Good to 0.004 (20,000 decks drawn).

    Source
    ------
    Modelled: normal film, areas independent; the rule is ``rule.source``.
    """
    if areas < 1:
        raise InputError(f"{areas} areas.", do="Measure one or more.")
    rng = np.random.default_rng(seed)
    low, high = rule.spot_floor * deck.specified_um, rule.spot_ceiling * most_um
    own = float(np.hypot(deck.spot_sd_um, deck.read_sd_um / np.sqrt(rule.readings_per_spot)))
    passed = 0
    for _ in range(TRIALS // BATCH):
        area = deck.mean_um + deck.sd_um * rng.standard_normal((BATCH, areas, 1))
        spot = area + own * rng.standard_normal((BATCH, areas, rule.spots_per_area))
        mean = spot.mean(2)
        ok = ((spot >= low) & (spot <= high)).all((1, 2))
        ok &= ((mean >= deck.specified_um) & (mean <= most_um)).all(1)
        passed += int(ok.sum())
    return passed / TRIALS
