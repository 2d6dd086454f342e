"""Lines into a price: half up to the cent, overhead, margin, bid form, range."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import ROUND_HALF_UP, Decimal

import numpy as np
from numpy.typing import NDArray

from tackfree.because import Figure, Given, Source
from tackfree.errors import InputError
from tackfree.supply.price_types import (
    BidLine,
    Driver,
    Group,
    Odds,
    Price,
    PriceBook,
    PriceLine,
    UnitPrice,
)

CENT = Decimal("0.01")
_SHARE = Decimal("0.00000001")
_BOOK = Source(kind="typed", text="price list")
_DRAWN_COST = Source(kind="modelled", text="draws of kits, hours and allowances")
FloatArray = NDArray[np.float64]


def half_up(money: Decimal) -> Decimal:
    """To cents, half away from zero.

    >>> half_up(Decimal("2.345"))
    Decimal('2.35')
    """
    return money.quantize(CENT, ROUND_HALF_UP)


def margin_of_markup(markup: Decimal) -> Decimal:
    """The share of the price that a mark-up on cost makes.

    >>> margin_of_markup(Decimal("0.25"))
    Decimal('0.2')
    """
    return markup / (1 + markup)


def line(
    group: Group,
    id: str,
    name: str,
    quantity: float | Decimal,
    unit: str,
    each: Decimal,
    *,
    figure: Figure | None = None,
) -> PriceLine:
    """One line; the quantity is kept to two decimals, as it is printed."""
    kept = half_up(quantity if isinstance(quantity, Decimal) else Decimal(repr(quantity)))
    return PriceLine(
        group=group, id=id, name=name, quantity=kept, unit=unit, each=each,
        amount=half_up(kept * each), figure=figure,
    )  # fmt: skip


def total_of(lines: Sequence[PriceLine], book: PriceBook, *, leftover: Decimal) -> Price:
    """The price of lines: overhead on cost, margin as a share of the price.

    Raises
    ------
    InputError
        If the margin is not below 1.

    Source
    ------
    Exact: price = cost (1 + overhead) / (1 - margin), rounded half up in each step.
    """
    if not 0 <= book.margin < 1:
        raise InputError(
            f"margin is {100 * book.margin:g} %; it is a share of the price, below 100 %.",
            where="price.toml, margin",
            do='A mark-up of 25 % on cost is a margin of "20 %".',
        )
    direct = sum((x.amount for x in lines), Decimal(0))
    overhead = half_up(direct * book.overhead)
    margin = half_up((direct + overhead) * book.margin / (1 - book.margin))
    total = direct + overhead + margin
    return Price(
        currency=book.currency,
        invented=book.invented,
        lines=tuple(lines),
        direct=direct,
        overhead_rate=book.overhead,
        overhead=overhead,
        margin_rate=book.margin,
        margin=margin,
        total=total,
        leftover=half_up(leftover),
        figures=_sums(lines, book, direct=direct, overhead=overhead, margin=margin, total=total),
    )


def _sums(lines: Sequence[PriceLine], book: PriceBook, **money: Decimal) -> dict[str, Figure]:
    """Why the sums of a price are what they are."""
    groups: dict[str, Decimal] = {}
    for x in lines:
        groups[x.group] = groups.get(x.group, Decimal(0)) + x.amount
    unit = book.currency

    def given(name: str) -> Given:
        return Given(name=name, value=float(money[name]), unit=unit)

    rates = {
        name: Given(name=f"{name} rate", value=float(rate), source=_BOOK)
        for name, rate in (("overhead", book.overhead), ("margin", book.margin))
    }
    why: dict[str, tuple[str, tuple[Given, ...]]] = {
        "direct": (
            "sum of the lines",
            tuple(Given(name=g, value=float(v), unit=unit) for g, v in groups.items()),
        ),
        "overhead": ("direct × overhead rate", (given("direct"), rates["overhead"])),
        "margin": (
            "(direct + overhead) × margin rate / (1 − margin rate): a share of the price",
            (given("direct"), given("overhead"), rates["margin"]),
        ),
        "total": (
            "direct + overhead + margin",
            (given("direct"), given("overhead"), given("margin")),
        ),
    }
    return {
        name: Figure(value=float(money[name]), unit=unit, formula=formula, inputs=inputs)
        for name, (formula, inputs) in why.items()
    }


def unit_prices(book: PriceBook) -> tuple[UnitPrice, ...]:
    """What one more unit of each item costs the owner."""
    factor = (1 + book.overhead) / (1 - book.margin)
    return tuple(
        UnitPrice(
            id=u.id, name=u.name, unit=u.by, price=half_up(u.each * factor),
            allowance=u.allowance,
            figure=Figure(
                value=float(half_up(u.each * factor)), unit=book.currency,
                formula="cost × (1 + overhead rate) / (1 − margin rate)",
                inputs=(
                    Given(name="cost", value=float(u.each), unit=book.currency, source=_BOOK),
                    Given(name="overhead rate", value=float(book.overhead), source=_BOOK),
                    Given(name="margin rate", value=float(book.margin), source=_BOOK),
                ),
            ),
        )
        for u in book.unit_items
    )  # fmt: skip


def share_out(total: Decimal, weights: Sequence[Decimal]) -> tuple[tuple[Decimal, Decimal], ...]:
    """A sum of money in proportion: (share, amount) of each; the last takes the rest.

    >>> [str(amount) for _, amount in share_out(Decimal("1.00"), [Decimal(1)] * 3)]
    ['0.33', '0.33', '0.34']
    """
    whole = sum(weights, Decimal(0))
    if whole <= 0:
        weights, whole = [Decimal(1)] * len(weights), Decimal(len(weights))
    shares = [(w / whole).quantize(_SHARE) for w in weights]
    amounts = [half_up(total * s) for s in shares[:-1]]
    amounts.append(total - sum(amounts, Decimal(0)))
    return tuple(zip(shares, amounts, strict=True))


def bid_lines(
    total: Decimal,
    rows: Sequence[tuple[str, str, Decimal, str, Decimal]],
    currency: str = "",
) -> tuple[BidLine, ...]:
    """The bid form: (item, text, quantity, unit, own cost) of each row to amounts.

    What belongs to no row of its own is spread by own cost; the amounts add up to the
    total exactly.
    """
    parts = share_out(total, [own for *_, own in rows])
    return tuple(
        BidLine(
            item=item, text=text, quantity=half_up(quantity), unit=unit, share=share,
            unit_price=half_up(amount / quantity) if quantity else amount, amount=amount,
            figure=Figure(
                value=float(amount), unit=currency,
                formula="total × own cost / own cost of all lines; the last takes the rounding",
                inputs=(
                    Given(name="total", value=float(total), unit=currency),
                    Given(name="own cost", value=float(own), unit=currency),
                    Given(name="share", value=float(share)),
                ),
            ),
        )
        for (item, text, quantity, unit, own), (share, amount) in zip(rows, parts, strict=True)
    )  # fmt: skip


def odds_of(price: Price, causes: Mapping[tuple[str, str], FloatArray], *, fixed: float) -> Odds:
    """Range of the price from what each cause may cost.

    Parameters
    ----------
    price : Price
        For overhead and margin.
    causes : mapping of (id, name) to array of shape (draws,)
        Direct cost of each cause in each draw.
    fixed : float
        Direct cost that nothing moves.

    Returns
    -------
    Odds
        P50 and P80 of the price, and each cause alone between its 10 and 90 % points,
        the others at their middle; the widest first.
    """
    factor = float((1 + price.overhead_rate) / (1 - price.margin_rate))

    def money(value: float) -> Decimal:
        return half_up(Decimal(repr(float(value))))

    draws = next(iter(causes.values())).size if causes else 0
    if not draws:
        same = price.total
        return Odds(p10=same, p50=same, p80=same, p90=same, drivers=(), draws=0)
    total = (sum(causes.values()) + fixed) * factor
    p10, p50, p80, p90 = (money(q) for q in np.quantile(total, [0.1, 0.5, 0.8, 0.9]))
    drivers = []
    for (id, name), cost in causes.items():
        low, mid, high = np.quantile(cost, [0.1, 0.5, 0.9])
        if high > low:
            step = Driver(
                id=id, name=name, low=money((low - mid) * factor),
                high=money((high - mid) * factor),
                figure=Figure(
                    value=float(money((high - low) * factor)), unit=price.currency,
                    formula="(P90 − P10 of this cost) × (1 + overhead rate) / (1 − margin rate)",
                    inputs=tuple(
                        Given(name=k, value=round(float(v), 2), unit=price.currency)
                        for k, v in (("P10", low), ("P50", mid), ("P90", high))
                    ),
                    source=_DRAWN_COST,
                ),
            )  # fmt: skip
            drivers.append(step)
    drivers.sort(key=lambda d: (-d.width, d.id))
    return Odds(p10=p10, p50=p50, p80=p80, p90=p90, drivers=tuple(drivers), draws=draws)
