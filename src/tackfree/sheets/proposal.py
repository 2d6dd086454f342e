"""The proposal on paper: scope, price, unit prices, what it rests on, what is not in it.

All text goes in as JSON, so that nothing a user typed can be read as markup. The
company's own text blocks come as plain paragraphs.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from tackfree.sheets import look
from tackfree.sheets.typeset import typeset
from tackfree.supply.price_types import Price
from tackfree.words import say

_WORDS = (
    "title", "scope", "zone-area", "coats", "price", "total", "amount-governs", "units",
    "units-note", "alternates", "assumptions", "exclusions",
)  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Scope:
    """One build-up on paper: its name, its area, and its coats as text."""

    name: str
    area: str
    coats: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class Proposal:
    """Everything that stands on a proposal, in one language."""

    job_id: str
    job_name: str
    date: str
    made_utc_s: int
    price: Price
    scope: tuple[Scope, ...]
    before: tuple[str, ...] = ()  # the company's paragraphs, before the scope
    after: tuple[str, ...] = ()  # and at the end
    language: str = "en"
    letter: bool = True
    invented: bool = False


def render_proposal(proposal: Proposal) -> bytes:
    """The proposal as one PDF; the same bytes each time.

    Raises
    ------
    SheetError
        If the setter warns of anything.
    """
    return typeset(
        "proposal", proposal_page(proposal), made_utc_s=proposal.made_utc_s, where="proposal"
    )


def money(value: Any, currency: str, language: str) -> str:
    """Money as printed, with the marks of the language."""
    return f"{_marked(f'{value:,.2f}', language)} {currency}"


def _marked(text: str, language: str) -> str:
    """A number as Python groups it, in the marks of a language."""
    marks = say("unit.thousands-mark", language) + say("unit.decimal-mark", language)
    return text.translate(str.maketrans(",.", marks))


def proposal_page(p: Proposal) -> Mapping[str, Any]:
    """The page as plain data for the template."""

    def word(key: str, **values: object) -> str:
        return say(f"price.paper.{key}", p.language, **values)

    def cash(value: Any) -> str:
        return money(value, p.price.currency, p.language)

    def bare(value: Any) -> str:
        return money(value, "", p.language).strip()

    def count(value: Any) -> str:
        return _marked(f"{value:,.0f}", p.language)

    def unit(name: str) -> str:
        found = say(f"price.unit.{name}", p.language)
        return name if found.startswith("price.") else found

    return {
        "language": p.language,
        "paper": "us-letter" if p.letter else "a4",
        "font": look.FONT,
        "colours": dict(look.PRINT),
        "words": {k: word(k) for k in _WORDS},
        "job": word("for", name=p.job_name, id=p.job_id),
        "date": p.date,
        "invented": word("invented") if p.invented or p.price.invented else "",
        "before": list(p.before),
        "after": list(p.after),
        "scope": [{"name": s.name, "area": s.area, "coats": list(s.coats)} for s in p.scope],
        "columns": [
            say(f"price.sheet.{k}", p.language, currency=p.price.currency)
            for k in ("item", "text", "quantity", "unit", "each", "amount")
        ],
        "bid": [
            [b.item, b.text, count(b.quantity), unit(b.unit), bare(b.unit_price), bare(b.amount)]
            for b in p.price.bid
        ],
        "total": cash(p.price.total),
        "unit_prices": [
            [u.name, unit(u.unit), bare(u.price), count(u.allowance)] for u in p.price.unit_prices
        ],
        "unit_columns": [
            say(f"price.sheet.{k}", p.language, currency=p.price.currency)
            for k in ("text", "unit", "each", "included")
        ],
        "alternates": [
            [
                f"{a.id}: {a.name}",
                cash(a.total),
                ("+" if a.difference > 0 else "") + cash(a.difference),
            ]
            for a in p.price.alternates
        ],
        "alternate_columns": [
            say(f"price.sheet.{k}", p.language) for k in ("text", "total", "difference")
        ],
        "assumptions": [say(m, p.language) for m in p.price.assumptions],
        "exclusions": [say(m, p.language) for m in p.price.exclusions],
    }
