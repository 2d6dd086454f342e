"""Kits to finish as a person sees them: a fan for each product, its order and deadline."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path

from tackfree.service.consumption import ToFinish
from tackfree.service.consumption_words import SHARED, day_said, lines
from tackfree.service.pipeline import Pipeline
from tackfree.service.save import write_atomic
from tackfree.sheets import look
from tackfree.sheets.kit_fan import FanDay, FanWords, KitFan, kit_fan_svg
from tackfree.sheets.typeset import typeset
from tackfree.supply.deliveries import Delivery
from tackfree.words import say

PAPER_PX = 760.0


@dataclass(frozen=True, kw_only=True)
class FanView:
    """One product: its sentence, what stands behind it, its deliveries, its picture."""

    product_id: str
    name: str
    lead: str
    more: tuple[str, ...]
    trucks: tuple[str, ...]
    fan: KitFan | None  # None: nothing is left to coat with it
    late: bool


def views_of(
    made: Pipeline, found: Sequence[ToFinish], *, today: date, language: str
) -> tuple[tuple[FanView, ...], tuple[str, ...]]:
    """Forecasts in words and pictures."""
    ahead = sorted(found, key=lambda f: (f.order_by or date.max, f.product_id))
    shared: dict[str, list[str]] = {}
    for f in ahead:
        for m in f.messages:
            if m.id in SHARED:
                shared.setdefault(m.id, []).append(f.product_id)
    notes = tuple(say(i, language, product=", ".join(p)) for i, p in sorted(shared.items()))
    return tuple(_view(made, f, today, language) for f in ahead), notes


def _view(made: Pipeline, f: ToFinish, today: date, language: str) -> FanView:
    lead, *more = lines(made, f, language)
    return FanView(
        product_id=f.product_id,
        name=made.job.products[f.product_id].name,
        lead=lead,
        more=tuple(more),
        trucks=tuple(_truck(f, d, today, language) for d in f.deliveries),
        fan=_fan(f, today, language) if f.days else None,
        late=f.order_by is not None and f.order_by < today,
    )  # fmt: skip


def _soonest(f: ToFinish, today: date) -> date:
    """The first day on which what is ordered today can be there."""
    return today + timedelta(days=f.lead_days or 0)


def _truck(f: ToFinish, d: Delivery, today: date, language: str) -> str:
    """One delivery; where its day lies before an order of today can come, both days."""
    soonest = _soonest(f, today)
    return say(
        f"film.truck{'_late' if d.arrives < soonest else ''}", language, count=d.count,
        arrives=day_said(d.arrives, language), soonest=day_said(soonest, language),
        first=day_said(d.first_use, language), last=day_said(d.last_use, language),
    )  # fmt: skip


def _fan(f: ToFinish, today: date, language: str) -> KitFan:
    begin = min(today, f.days[0].on)
    here = (f.on_hand or 0) + f.on_order
    stock = [(begin, here)]
    soonest = _soonest(f, today)  # what is not ordered yet
    for d in f.deliveries:
        stock.append((max(d.arrives, soonest), stock[-1][1] + d.count))
    when = f.order_by
    return KitFan(
        title=say("film.fan_title", language, product=f.product_id, p10=f.p10, p90=f.p90,
                  p50=f.p50),
        begin=begin,
        days=tuple(FanDay(on=d.on, low=d.p10, likely=d.p50, high=d.p90) for d in f.days),
        stock=tuple(stock),
        deadline=when,
        words=FanWords(
            likely=say("film.fan_likely", language),
            range=say("film.fan_range", language),
            stock=say("film.fan_stock", language),
            kits=say("film.fan_kits", language),
            deadline=""
            if when is None
            else say("film.fan_late", language, count=f.order)
            if when < today
            else say("film.fan_deadline", language, count=f.order, day=day_said(when, language)),
            day=tuple(day_said(d.on, language) for d in f.days),
        ),
    )  # fmt: skip


def forecast_pdf(
    made: Pipeline,
    views: Sequence[FanView],
    notes: Sequence[str],
    *,
    today: date,
    language: str,
) -> bytes:
    """The forecast on paper: for each product its picture and its order."""
    data = {
        "title": say("film.kits_title", language),
        "job": made.job.name,
        "about": say("film.as_of", language, moment=day_said(today, language)),
        "products": [
            {
                "name": f"{v.product_id} · {v.name}",
                "lead": v.lead,
                "more": [*v.more, *v.trucks],
                "svg": kit_fan_svg(v.fan, palette="print", width=PAPER_PX) if v.fan else "",
            }
            for v in views
        ],
        "notes": [*notes, say("film.kits_source", language)],
        "language": language,
        "paper": "a4" if made.job.units == "si" else "us-letter",
        "look": dict(look.PRINT),
        "invented": say("film.invented", language) if made.job.invented else None,
    }
    at = int(made.job.as_of.timestamp())
    return typeset("forecast", data, made_utc_s=at, where=say("film.kits_title", language))


def write_forecast(
    made: Pipeline, found: Sequence[ToFinish], out: Path, *, today: date, language: str
) -> Path:
    """``forecast.pdf`` in a folder."""
    views, notes = views_of(made, found, today=today, language=language)
    path = out / "forecast.pdf"
    path.parent.mkdir(parents=True, exist_ok=True)
    write_atomic(path, forecast_pdf(made, views, notes, today=today, language=language))
    return path
