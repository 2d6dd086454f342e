"""Gallons against area, and both against the gauge.

The mass balance never passes a short area: what is missing was not poured. Where gauge
and kits disagree by more than both can be off, one of them is wrong, and each cause is
told with the size it would need to have.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from tackfree import film
from tackfree.words import Message

BALANCE = 0.08  # practice: the band a mass balance is judged by
CLASH = 2.0  # standard deviations apart


@dataclass(frozen=True, kw_only=True)
class Poured:
    """What went on an area. Volumes in L, area in m², film and fill in µm.

    ``loss`` is on net need; ``area_sd`` and ``fill_sd_um`` tell how well area and fill
    are known.
    """

    volume_l: float
    kit_l: float
    area_m2: float
    fill_um: float
    loss: float
    area_sd: float = 0.03  # fraction
    fill_sd_um: float = 0.0
    loss_sd_um: float = 10.16  # 0.4 mil


@dataclass(frozen=True, kw_only=True)
class Balance:
    """``film_um`` over the peaks by the volume; ``ratio`` of poured to wanted volume.

    ``holds`` is False for short, None for over: more than wanted is not proof of film.
    """

    film_um: float
    film_sd_um: float
    wanted_l: float
    ratio: float
    holds: bool | None
    message: Message


def mass_balance(poured: Poured, specified_um: float) -> Balance:
    """Volume poured against area and specified film.

    Parameters
    ----------
    poured : Poured
    specified_um : float
        Wet film over the peaks. [µm]

    Returns
    -------
    Balance

    Raises
    ------
    tackfree.film.FilmError
        If area is 0 or a value is out of its range.

    Source
    ------
    Exact, by :func:`tackfree.film.film_over_peaks_um`; the band is practice.
    """
    over = film.film_over_peaks_um(
        volume_l=poured.volume_l,
        area_m2=poured.area_m2,
        fill_um=poured.fill_um,
        loss=poured.loss,
    )
    wanted = film.gross_l(
        area_m2=poured.area_m2, wft_um=specified_um, fill_um=poured.fill_um, loss=poured.loss
    )
    ratio = poured.volume_l / wanted
    word = "short" if ratio < 1 - BALANCE else "over" if ratio > 1 + BALANCE else "agrees"
    values = {
        "poured_l": poured.volume_l,
        "wanted_l": wanted,
        "film_um": over,
        "specified_um": specified_um,
        "ratio_pct": round(100 * ratio),
    }
    deep = over + poured.fill_um
    return Balance(
        film_um=over,
        film_sd_um=math.hypot(deep * poured.area_sd, poured.fill_sd_um, poured.loss_sd_um),
        wanted_l=wanted,
        ratio=ratio,
        holds={"short": False, "agrees": True, "over": None}[word],
        message=Message(id=f"evidence.balance_{word}", values=values),
    )


@dataclass(frozen=True, kw_only=True)
class Gauged:
    """Readings of an area taken together. [µm]

    ``independent`` is what they are worth as readings far apart; None: all of them.
    """

    mean_um: float
    sd_um: float
    count: int
    independent: float | None = None
    bias_sd_um: float = 17.78  # 0.7 mil


@dataclass(frozen=True, kw_only=True)
class Clash:
    """Gauge and kits cannot both be right; causes in the order to look into them."""

    gauge_um: float
    kits_um: float
    apart_sd: float
    message: Message
    causes: tuple[Message, ...]


def find_clash(gauged: Gauged, poured: Poured) -> Clash | None:
    """Whether gauge average and volume disagree, and what could explain it.

    Parameters
    ----------
    gauged : Gauged
    poured : Poured

    Returns
    -------
    Clash or None
        None where they agree within two standard deviations of both.

    Source
    ------
    Exact: each cause is the change that would bring the two together alone.
    """
    balance = mass_balance(poured, max(gauged.mean_um, 1e-9))
    gap = gauged.mean_um - balance.film_um
    sd = math.hypot(
        gauged.sd_um / math.sqrt(max(gauged.independent or gauged.count, 1)),
        gauged.bias_sd_um,
        balance.film_sd_um,
    )
    if abs(gap) <= CLASH * sd:
        return None
    high = gap > 0
    deep = gauged.mean_um + poured.fill_um
    need_l = film.gross_l(
        area_m2=poured.area_m2,
        wft_um=gauged.mean_um,
        fill_um=poured.fill_um,
        loss=poured.loss,
    )
    kits = (need_l - poured.volume_l) / poured.kit_l
    fits_m2 = poured.area_m2 * poured.volume_l / need_l
    causes: list[Message] = []
    if high:
        causes.append(Message(id="evidence.cause_picked", values={"count": gauged.count}))
        causes.append(
            Message(
                id="evidence.cause_area_small",
                values={"area_m2": poured.area_m2, "fits_m2": fits_m2},
            )
        )
        causes.append(
            Message(
                id="evidence.cause_kits_missing",
                values={"kits": max(1, round(kits)), "volume_l": need_l - poured.volume_l},
            )
        )
        if poured.fill_um:
            rest = gauged.mean_um - poured.fill_um - balance.film_um
            causes.append(
                Message(
                    id=f"evidence.cause_valleys_{'all' if abs(rest) <= CLASH * sd else 'part'}",
                    values={"fill_um": poured.fill_um, "rest_um": rest},
                )
            )
    else:
        laid = film.laid_share(poured.loss) * deep / (balance.film_um + poured.fill_um)
        causes.append(
            Message(
                id="evidence.cause_residue",
                values={
                    "loss_pct": round(100 * (1 / laid - 1)) if laid > 0 else 0,
                    "assumed_pct": round(100 * poured.loss),
                },
            )
        )
        causes.append(
            Message(
                id="evidence.cause_area_large",
                values={"area_m2": poured.area_m2, "fits_m2": fits_m2},
            )
        )
        causes.append(
            Message(
                id="evidence.cause_kits_twice",
                values={"kits": max(1, round(-kits)), "volume_l": poured.volume_l - need_l},
            )
        )
    causes.append(Message(id="evidence.cause_gauge", values={"gap_um": abs(gap)}))
    return Clash(
        gauge_um=gauged.mean_um,
        kits_um=balance.film_um,
        apart_sd=abs(gap) / sd,
        message=Message(
            id=f"evidence.clash_{'high' if high else 'low'}",
            values={
                "gauge_um": gauged.mean_um,
                "kits_um": balance.film_um,
                "gap_um": abs(gap),
                "poured_l": poured.volume_l,
                "area_m2": poured.area_m2,
            },
        ),
        causes=tuple(causes),
    )
