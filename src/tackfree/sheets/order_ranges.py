"""Ranges, what to have and the deliveries, as columns and a sheet of the order workbook."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from tackfree.sheets.order_book import FIRST, Column, Table, Writer
from tackfree.supply.range_types import KitRange
from tackfree.supply.types import OrderLine
from tackfree.words import say


class Deliveries(Table):
    """One row for each truck of each product, in the order's order."""

    def __init__(self, w: Writer, sheet: Any, name: str, ranges: Sequence[KitRange]) -> None:
        super().__init__(w, sheet, name, sum(len(r.deliveries) for r in ranges))
        self.ranges = ranges
        self.columns = (
            Column(word="product", width=18, text=True),
            Column(word="unit", width=12, text=True),
            Column(word="truck", width=10, text=True),
            Column(word="order-by", width=14),
            Column(word="there-by", width=14),
            Column(word="first-use", width=14),
            Column(word="last-use", width=14),
            Column(word="packages", width=12),
            Column(word="of-these-spare", width=12),
            Column(word="over-room", width=16),
        )

    def write(self) -> None:
        w = self.w
        w.head(self.sheet, self.columns, self.rows)
        row = FIRST + 1
        for r in self.ranges:
            unit = say(f"supply.unit.{r.unit}", w.header.language)
            for n, d in enumerate(r.deliveries, 1):
                nth = say("supply.page.delivery", w.header.language, n=n, of=len(r.deliveries))
                w.row(self.sheet, row, self.columns, (
                    r.product_id, unit, nth, d.order_by, d.arrives, d.first_use, d.last_use,
                    d.count, d.spare, d.over_room or None,
                ))  # fmt: skip
                row += 1


def range_columns(currency: str) -> tuple[Column, ...]:
    """What stands beside the count of each product."""
    value = (Column(word="back-value", unit=currency, width=14, digits=2),) if currency else ()
    return (
        *(Column(word=f"p{share}", width=8) for share in (10, 50, 90)),
        Column(word="have", width=10),
        Column(word="spare", width=10),
        Column(word="enough", width=10),
        Column(word="back", width=12),
        *value,
        Column(word="first-by", width=14),
        Column(word="on-trucks", width=12),
    )


def range_cells(
    deliveries: Deliveries, line: OrderLine, row: int, currency: str
) -> tuple[Any, ...]:
    """Cells of `range_columns` in a row of the order, 1 first; "have" may be typed over."""
    r = next(x for x in deliveries.ranges if x.product_id == line.product_id)
    trucks = sum(d.count for d in r.deliveries)
    back = float(r.return_value) if r.return_value is not None else None
    return (
        r.p10, r.p50, r.p90, r.advised,
        (f"J{row}-D{row}", r.advised - line.count),
        r.enough_share,
        r.returnable or None,
        *((back,) if currency else ()),
        r.order_by,
        (f"SUMIFS({deliveries.all('packages')},{deliveries.all('product')},A{row})", trucks),
    )  # fmt: skip
