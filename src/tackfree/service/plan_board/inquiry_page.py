"""Long questions about the plan as a page: why not, other weather, finish against stalls."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from tackfree.service.papers import at_slot
from tackfree.service.plan_board.ahead import day_name
from tackfree.service.planning import answers
from tackfree.service.planning.inquiry import KINDS, YEARS, Inquiry
from tackfree.service.planning.why import Traded
from tackfree.sheets.trade_curve import Point, Trade, trade_curve_svg
from tackfree.words import say


@dataclass(frozen=True, kw_only=True)
class Answered:
    """One question with its answer in lines, and the curve where it has one."""

    kind: str
    title: str
    about: str
    asked: dict[str, str]
    spent: str
    open: bool
    lead: str
    lines: tuple[str, ...]
    wide: str
    narrow: str
    faults: tuple[tuple[str, str], ...]


@dataclass(frozen=True, kw_only=True)
class InquiryPage:
    """Every kind of question; ``at_work`` while one is being answered."""

    at_work: bool
    kinds: tuple[Answered, ...]
    years: tuple[int, ...]


def inquiry_page(last: Sequence[Inquiry], language: str) -> InquiryPage:
    """The page in a language; answers follow it."""
    by_kind = {q.kind: q for q in last}
    return InquiryPage(
        at_work=any(q.open for q in last),
        kinds=tuple(_answered(k, by_kind.get(k), language) for k in KINDS),
        years=YEARS,
    )


def _answered(kind: str, q: Inquiry | None, language: str) -> Answered:
    def tell(name: str, **values: object) -> str:
        return say(f"planboard.why.{name}", language, **values)

    lines: list[str] = []
    wide = narrow = spent = ""
    if q is not None:
        spent = tell("spent", seconds=f"{q.seconds:,.0f}", person=q.person)
    if q is not None and q.answer is not None and q.made is not None:
        if kind == "not":
            lines = answers.why_text(q.made, q.answer, language).split("\n")
        elif kind == "weather":
            lines = answers.stress_text(q.made, q.answer, language).split("\n")
        else:
            curve = _curve(q, language)
            wide = trade_curve_svg(curve, width=860.0, prefix="wide")
            narrow = trade_curve_svg(_short(curve), width=336.0, prefix="narrow")
            lines = [f"{p.share}: {p.day}. {curve.lost} {p.lost}." if p.lost
                     else f"{p.share}: {p.day}." for p in curve.points]  # fmt: skip
    return Answered(
        kind=kind,
        title=tell(f"{kind}-title"),
        about=tell(f"{kind}-about"),
        asked=dict(q.asked) if q else {},
        spent=spent,
        open=q is not None and q.open,
        lead=lines[0].strip() if lines and kind != "stalls" else "",
        lines=tuple(x.strip() for x in (lines if kind == "stalls" else lines[1:])),
        wide=wide,
        narrow=narrow,
        faults=tuple((f.what, f.do) for f in q.faults) if q else (),
    )


def _short(curve: Trade) -> Trade:
    """Dates without their weekday, as a phone has room for."""
    points = [
        replace(p, day=p.day.partition(" ")[2]) if p.finish is not None else p for p in curve.points
    ]
    return replace(curve, points=points)


def _curve(q: Inquiry, language: str) -> Trade:
    assert q.made is not None
    per_day = 86400 / q.made.problem.slot_s
    made = q.made

    def point(t: Traded) -> Point:
        if t.finish is None:
            said = say(f"planning.status.{t.status}", language)
            return Point(share=f"{t.open_share:.0%}", finish=None, bound=None, day=said, lost="")
        at = at_slot(made, t.finish).date()
        return Point(
            share=f"{t.open_share:.0%}",
            finish=t.finish / per_day,
            bound=None if t.bound is None else t.bound / per_day,
            day=day_name(at, language),
            lost=f"{(t.stall_slots or 0) / per_day:,.0f}",
        )

    names = {
        n: say(f"planboard.why.curve-{n}", language) for n in ("across", "up", "lost", "bound")
    }
    return Trade(title=say("planboard.why.stalls-title", language),
                 points=[point(t) for t in q.answer], **names)  # fmt: skip
