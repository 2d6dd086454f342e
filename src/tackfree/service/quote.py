"""A price as text, files and JSON: workbook and proposal."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import Any

from tackfree.buildup.types import Coat
from tackfree.errors import InputError
from tackfree.service.papers import system_of
from tackfree.service.pipeline import Pipeline
from tackfree.service.report import why
from tackfree.service.save import to_json, write_atomic
from tackfree.service.tables import table
from tackfree.sheets.price_xlsx import PriceHeader, write_price
from tackfree.sheets.proposal import Proposal, Scope, money, render_proposal
from tackfree.units import show
from tackfree.words import say

TEXT_MAX = 20_000  # characters of the company's own text


def price_document(made: Pipeline) -> dict[str, Any]:
    """The price as JSON; money as text with two decimals."""
    found: dict[str, Any] = to_json(made.price)
    for name in ("assumptions", "exclusions"):
        found[name] = [{**to_json(m), "text": say(m)} for m in getattr(made.price, name)]
    found["price_list"] = price_list_mark(made.job.root)
    return found


def price_list_mark(root: Path) -> str:
    """A hash of the price list as it stands in a bundle; "" where there is none."""
    path = root / "price.toml"
    return hashlib.sha256(path.read_bytes()).hexdigest() if path.is_file() else ""


def price_text(made: Pipeline, *, explain: bool) -> str:
    """Groups, total, range, drivers, bid form; with ``explain`` every line."""
    price, language = made.price, made.job.languages[0]

    def cash(value: Any) -> str:
        return money(value, price.currency, "en")

    def signed(value: Any) -> str:
        return ("+" if value > 0 else "") + cash(value)

    def word(key: str) -> str:
        return say(f"price.sheet.{key}", "en")

    groups: dict[str, Any] = {}
    for x in price.lines:
        groups[x.group] = groups.get(x.group, 0) + x.amount
    rows = [[say(f"price.group.{g}"), cash(v)] for g, v in groups.items()]
    rows += [
        [word("direct"), cash(price.direct)],
        [f"{word('overhead')} ({100 * price.overhead_rate:g} %)", cash(price.overhead)],
        [f"{word('margin')} ({100 * price.margin_rate:g} %)", cash(price.margin)],
        [word("total"), cash(price.total)],
        [word("leftover"), cash(price.leftover)],
    ]
    if price.odds:
        rows += [[word("p50"), cash(price.odds.p50)], [word("p80"), cash(price.odds.p80)]]
    out = [table([word("price"), price.currency], rows)]
    if explain:
        for name, figure in price.figures.items():
            out.append(why(name, figure))
        for x in price.lines:
            out += ["", f"{x.name}: {x.quantity:,.2f} {x.unit} × {x.each:,.2f} = {x.amount:,.2f}"]
            out += [why(x.id, x.figure)] if x.figure else []
    bid = [[b.item + " " + b.text, f"{b.quantity:,.0f} {b.unit}", cash(b.unit_price),
            cash(b.amount)] for b in price.bid]  # fmt: skip
    out += ["", table([word("bid"), word("quantity"), "each", "amount"], bid)]
    if price.odds and price.odds.drivers:
        top = [[d.name, signed(d.low), signed(d.high)] for d in price.odds.drivers[:8]]
        out += ["", table([word("driver"), word("low"), word("high")], top)]
    for a in price.alternates:
        out += [
            "",
            f"{a.id}: {a.name}: {cash(a.total)} ({signed(a.difference)})",
        ]
    if price.unit_prices:
        head = [word("unit-prices"), word("unit"), "each", word("included")]
        rows = [[u.name, u.unit, cash(u.price), f"{u.allowance:,.0f}"] for u in price.unit_prices]
        out += ["", table(head, rows)]
    for heading, said in (("assumptions", price.assumptions), ("exclusions", price.exclusions)):
        out += ["", say(f"price.paper.{heading}"), *(f"  {say(m)}" for m in said)]
    if price.invented:
        out += ["", say("price.sheet.invented", language)]
    return "\n".join(out)


def write_quote(made: Pipeline, out: Path) -> tuple[Path, ...]:
    """Write ``price.xlsx`` and ``proposal.pdf`` into a folder."""
    price, job = made.price, made.job
    out.mkdir(parents=True, exist_ok=True)
    header = PriceHeader(
        job_id=job.id, job_name=job.name, as_of=job.as_of, language=job.languages[0],
        letter=job.units == "us",
    )  # fmt: skip
    before, after = company_text(job.root)
    proposal = Proposal(
        job_id=job.id,
        job_name=job.name,
        date=f"{job.as_of:%Y-%m-%d}",
        made_utc_s=int(job.as_of.timestamp()),
        price=price,
        scope=scope_of(made),
        before=before,
        after=after,
        language=job.languages[0],
        letter=job.units == "us",
        invented=job.invented,
    )
    write_price(price, header, out / "price.xlsx")
    write_atomic(out / "proposal.pdf", render_proposal(proposal))
    return out / "price.xlsx", out / "proposal.pdf"


def company_text(root: Path) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Paragraphs of ``proposal/*.txt``: names up to 49 before the scope, others after.

    Raises
    ------
    InputError
        If a file is no UTF-8 text or the texts are too long.
    """
    before: list[str] = []
    after: list[str] = []
    size = 0
    for path in sorted((root / "proposal").glob("*.txt")):
        try:
            text = path.read_text("utf-8-sig")
        except UnicodeDecodeError:
            raise InputError(
                "the file is not UTF-8 text.", where=f"proposal/{path.name}", do="Save it as UTF-8."
            ) from None
        size += len(text)
        if size > TEXT_MAX:
            raise InputError(
                f"the texts have over {TEXT_MAX} characters.",
                where="proposal",
                do="Shorten them; long terms belong in a paper of their own.",
            )
        first = path.name.split("-")[0]
        place = before if first.isdigit() and int(first) < 50 else after
        place += [" ".join(p.split()) for p in text.split("\n\n") if p.strip()]
    return tuple(before), tuple(after)


def scope_of(made: Pipeline) -> tuple[Scope, ...]:
    """Each build-up in use with its area and its coats in words."""
    job, system, language = made.job, system_of(made), made.job.languages[0]
    area: dict[str, float] = {}
    for s in made.sections.sections:
        area[s.build_up_id] = area.get(s.build_up_id, 0.0) + s.developed_m2

    def said(coat: Coat) -> str:
        film = show(coat.wft_um, "film", system, language=language)
        step = say(f"price.step.{coat.role.value}", language)
        text = f"{step}: {job.products[coat.product_id].name}, "
        text += say("price.paper.wet", language, film=film)
        if coat.aggregate is not None:
            rate = show(coat.aggregate.rate_kg_per_m2, "areal_mass", system)
            how = say(f"price.sanding.{coat.aggregate.method}", language)
            text += ", " + say("price.paper.sand", language, rate=rate, method=how)
        return text

    return tuple(
        Scope(
            name=job.build_ups[b].name,
            area=show(m2, "area", system),
            coats=tuple(said(c) for c in job.build_ups[b].coats),
        )
        for b, m2 in area.items()
    )
