"""The forecast of kits in words for people and as rows for ``--json``."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from datetime import date
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from tackfree.errors import InputError
from tackfree.service import consumption
from tackfree.service.consumption import ToFinish, consumption_record, days_built, to_finish
from tackfree.service.earlier_jobs import bundles_of, history_of, read_earlier
from tackfree.service.pipeline import Pipeline
from tackfree.service.save import to_json
from tackfree.words import Message, say

SHARED = ("consumption.no_delivery", "consumption.no_plan")  # said once for all products


def day_of(made: Pipeline, today: str | None) -> date:
    """The day a forecast is of; left out, the job's own ``as_of``."""
    try:
        return made.job.as_of.date() if today is None else date.fromisoformat(today)
    except ValueError:
        raise InputError(
            f"{today!r} is no date.", where="--today", do="Write 2027-05-03."
        ) from None


def asked(
    bundle: Path,
    *,
    today: str | None,
    on_order: Sequence[str],
    earlier: Sequence[Path],
    planned: bool,
    built: Path | None = None,
) -> tuple[Pipeline, tuple[ToFinish, ...]]:
    """The forecast as the command line asks for it.

    Parameters
    ----------
    bundle : Path
    today : str, optional
        A date; left out, the job's own ``as_of``.
    on_order : sequence of str
        "PRODUCT=KITS".
    earlier : sequence of Path
        Bundles of the crew's earlier jobs, with their records; those in the bundle's own
        folder of earlier jobs count too.
    planned : bool
    built : Path, optional
        An output folder whose plan gives the days.

    Raises
    ------
    InputError
        If a date or a number cannot be read.
    """
    made = Pipeline.of(bundle)
    day = day_of(made, today)
    ordered: dict[str, int] = {}
    known = {c.product_id for c in made.materials.coats}
    for text in on_order:
        name, _, count = text.partition("=")
        if name not in known or not count.isdigit():
            raise InputError(
                f"{text!r} is no order.", where="--on-order",
                do=f"Write PRODUCT=KITS; products are {', '.join(sorted(known))}.",
            )  # fmt: skip
        ordered[name] = ordered.get(name, 0) + int(count)
    jobs = read_earlier((*bundles_of(bundle), *earlier))
    for path, j in zip((*bundles_of(bundle), *earlier), jobs, strict=True):
        if j.fault:
            raise InputError(j.fault, where=str(path), do="Mend it, or leave that job out.")
    history = history_of(jobs)
    days = None
    if built is not None and not planned:
        days = days_built(built, ZoneInfo(made.job.place.time_zone))
        if not days:
            raise InputError(
                "there is no plan.", where=str(built),
                do=f"Build it first: tackfree job build {bundle} --out {built}",
            )  # fmt: skip
    found = to_finish(
        made, consumption_record(bundle), today=day, on_order=ordered, history=history,
        planned=planned, days=days,
    )  # fmt: skip
    return made, found


def lines(made: Pipeline, f: ToFinish, language: str = "en") -> list[str]:
    """One product in a few lines, the order first."""

    def told(name: str, **values: Any) -> str:
        return say(f"consumption.{name}", language, **values)

    if not f.days:
        return [told("done", product=f.product_id)]
    first = told("line", product=f.product_id, p10=f.p10, p50=f.p50, p90=f.p90)
    first += " " + told("stock", count=f.on_hand or 0, more=f.on_order)
    if not f.order:
        first += " " + told("enough")
    elif f.order_by is None or f.lead_days is None:
        first += " " + told("order_undated", count=f.order)
    elif any(m.id == "consumption.late" for m in f.messages):
        first += " " + told("order_late", count=f.order, lead=f.lead_days)
    else:
        first += " " + told(
            "order", count=f.order, day=day_said(f.order_by, language), lead=f.lead_days
        )  # fmt: skip
    out = [first]
    if f.stop_cost is not None and f.spare_cost is not None and made.job.price is not None:
        unit = made.job.price.currency
        out.append(
            told("costs", stop=f"{f.stop_cost:,.0f} {unit}", spare=f"{f.spare_cost:,.0f} {unit}")
        )
    if f.learnt_from:
        low, high = f.ratio_band
        out.append(
            told(
                "ratio", pct=round(100 * f.ratio), low=round(100 * low), high=round(100 * high),
                count=f.learnt_from,
            )
        )  # fmt: skip
    else:
        out.append(told("ratio_none"))
    if f.without_history is not None and f.history_ratio is not None:
        low, likely, high = f.without_history
        out.append(
            told(
                "history_changed", count=f.history_jobs, pct=round(100 * f.history_ratio),
                p10=low, p50=likely, p90=high,
            )
        )  # fmt: skip
    return out + [_said(m, language) for m in f.messages if m.id not in SHARED]


def _said(message: Message, language: str) -> str:
    """A message with its day as people say it."""
    day = message.values.get("day")
    if not isinstance(day, str):
        return say(message, language)
    told = day_said(date.fromisoformat(day), language)
    return say(Message(id=message.id, values={**message.values, "day": told}), language)


def day_said(day: date, language: str) -> str:
    """A day as people say it: Fri 16 Apr."""
    weekday = say("page.weekdays", language).split()[day.weekday()]
    month = say("page.months", language).split()[day.month - 1]
    return f"{weekday} {day.day} {month}"


def text(made: Pipeline, found: Sequence[ToFinish], language: str = "en") -> str:
    """Every product for people."""
    blocks = []
    for f in found:
        first, *rest = lines(made, f, language)
        blocks.append("\n".join([first, *(f"  {r}" for r in rest)]))
    shared: dict[str, list[str]] = {}
    for f in found:
        for m in f.messages:
            if m.id in SHARED:
                shared.setdefault(m.id, []).append(f.product_id)
    notes = [say(i, language, product=", ".join(names)) for i, names in sorted(shared.items())]
    return "\n".join([*blocks, *notes])


def document(found: Sequence[ToFinish]) -> dict[str, Any]:
    """Every product as JSON."""
    return {"products": [to_json(asdict(f)) for f in found], "seed": consumption.SEED}
