"""The price page: the range first, what moves it, then every line with its reason."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from tackfree import words
from tackfree.service.pages.read import Built
from tackfree.service.pages.said import Reader, Value
from tackfree.service.pages.types import Bar, Group, Line, Link
from tackfree.sheets.proposal import money

Json = Mapping[str, Any]


@dataclass(frozen=True, kw_only=True)
class PricePage:
    """The price, rounded and worded; ``missing`` says why there is none."""

    stage: str
    title: str
    job_id: str
    job_name: str
    invented: bool
    lead: tuple[Value, ...] = ()
    range: Line | None = None
    drivers: tuple[Line, ...] = ()
    groups: tuple[Group, ...] = ()
    assumptions: tuple[str, ...] = ()
    exclusions: tuple[str, ...] = ()
    links: tuple[Link, ...] = ()
    missing: tuple[str, ...] = ()
    remedy: str = ""
    changed: bool = False
    can_edit: bool = False
    former: str = ""  # when the former prices were kept
    as_of: str = ""


def price_page(
    built: Built,
    reader: Reader,
    document: Json | None,
    *,
    changed: bool = False,
    can_edit: bool = False,
    former: str = "",
    bundle: str = "BUNDLE",
) -> PricePage:
    """The price page of a document from `quote.price_document`; None where there is none."""
    head: dict[str, Any] = {
        "stage": "price",
        "title": reader.say("stage.price"),
        "job_id": built.job_id,
        "job_name": built.job_name,
        "invented": built.invented,
        "can_edit": can_edit,
        "former": former,
        "as_of": reader.say("age.as-of", as_of=built.as_of[:16].replace("T", " ")),
    }
    if document is None:
        why = [reader.say(f"missing.{m.why}", file=m.file) for m in built.lack("price")]
        remedy = reader.say("missing.do", command=f"tackfree job build {bundle}")
        return PricePage(**head, missing=tuple(why), remedy=remedy)
    return PricePage(
        **head,
        lead=_lead(reader, document),
        range=_range(reader, document),
        drivers=_drivers(reader, document),
        groups=tuple(g for g in _groups(reader, document) if g.lines),
        assumptions=tuple(reader.message(m) for m in document.get("assumptions", ())),
        exclusions=tuple(reader.message(m) for m in document.get("exclusions", ())),
        links=(
            Link(text=say(reader, "workbook"), href="/price/file/price.xlsx"),
            Link(text=say(reader, "proposal"), href="/price/file/proposal.pdf"),
        ),
        changed=changed,
    )


def say(reader: Reader, name: str, /, **values: Any) -> str:
    """A word of the price page."""
    return words.say(f"price.page.{name}", reader.language, **values)


def _sheet(reader: Reader, name: str) -> str:
    return words.say(f"price.sheet.{name}", reader.language)


def _cash(reader: Reader, document: Json, value: Any) -> tuple[str, str]:
    """Money and its currency, each where a value shows it."""
    return money(Decimal(str(value)), "", reader.language).strip(), str(document["currency"])


def _signed(reader: Reader, value: Any) -> str:
    amount = Decimal(str(value))
    text = money(abs(amount), "", reader.language).strip()
    return ("+" if amount > 0 else "−" if amount < 0 else "") + text


def _sum(reader: Reader, document: Json, name: str, *, strong: bool = False) -> Value:
    odds = document.get("odds") or {}
    text, unit = _cash(reader, document, document.get(name, odds.get(name)))
    figure = (document.get("figures") or {}).get(name)
    return Value(
        label=_sheet(reader, name), text=text, unit=unit, why=reader.why(figure), strong=strong
    )


def _lead(reader: Reader, document: Json) -> tuple[Value, ...]:
    names = ["total"] + (["p50", "p80"] if document.get("odds") else [])
    return tuple(_sum(reader, document, n, strong=n == "total") for n in names)


def _range(reader: Reader, document: Json) -> Line | None:
    """P10 to P90 of the price and where ours lies, on a line of its own."""
    odds = document.get("odds")
    if not odds or odds["p10"] == odds["p90"]:
        return None
    ours = float(document["total"])
    p10, p50, p80, p90 = (float(odds[k]) for k in ("p10", "p50", "p80", "p90"))
    low, high = min(p10, ours), max(p90, ours)
    room = 0.06 * (high - low)

    def at(value: float) -> int:
        return round(1000 * (value - low + room) / (high - low + 2 * room))

    def text(value: Any) -> str:
        return _cash(reader, document, value)[0]

    bar = Bar(
        low=at(p10),
        high=at(p90),
        ticks=((at(p50), "likely"), (at(p80), "worked-out"), (at(ours), "have")),
        said=say(
            reader, "bar", p10=text(p10), p50=text(p50), p80=text(p80), p90=text(p90),
            total=text(ours),
        ),
    )  # fmt: skip
    ends = (
        Value(label="P10", text=text(odds["p10"])),
        Value(label="P50", text=text(odds["p50"])),
        Value(label="P80", text=text(odds["p80"])),
        Value(label="P90", text=text(odds["p90"])),
        Value(label=say(reader, "ours"), text=text(document["total"]), strong=True),
    )
    return Line(label="", values=ends, bar=bar)


def _drivers(reader: Reader, document: Json) -> tuple[Line, ...]:
    """What each cause alone does, widest first, around one middle line."""
    found = (document.get("odds") or {}).get("drivers", ())
    most = max((max(abs(float(d["low"])), abs(float(d["high"]))) for d in found), default=0.0)
    out = []
    for d in found if most > 0 else ():
        low, high = (500 + round(480 * float(d[k]) / most) for k in ("low", "high"))
        group, _, row_id = str(d["id"]).partition(".")
        ends = f"{_signed(reader, d['low'])} … {_signed(reader, d['high'])}"
        out.append(
            Line(
                label=_name(reader, group, row_id, str(d["name"])),
                values=(Value(label="", text=ends, why=reader.why(d.get("figure"))),),
                bar=Bar(low=low, high=high, ticks=((500, "worked-out"),), said=ends),
            )
        )
    return tuple(out)


def _groups(reader: Reader, document: Json) -> list[Group]:
    lines = document["lines"]
    groups = [
        Group(
            title=words.say(f"price.group.{g}", reader.language),
            lines=tuple(_line(reader, document, x) for x in lines if x["group"] == g),
        )
        for g in dict.fromkeys(x["group"] for x in lines)
    ]
    sums = [_sum(reader, document, n, strong=n == "total")
            for n in ("direct", "overhead", "margin", "total", "leftover")]  # fmt: skip
    groups.append(Group(title=say(reader, "sums"), lines=(Line(label="", values=tuple(sums)),)))
    groups.append(
        Group(
            title=_sheet(reader, "bid"),
            note=words.say("price.paper.amount-governs", reader.language),
            lines=tuple(_bid(reader, document, b) for b in document.get("bid", ())),
        )
    )
    groups.append(
        Group(
            title=_sheet(reader, "unit-prices"),
            note=words.say("price.paper.units-note", reader.language),
            lines=tuple(_unit_price(reader, document, u) for u in document.get("unit_prices", ())),
        )
    )
    groups.append(_alternates(reader, document))
    return groups


def _line(reader: Reader, document: Json, x: Json) -> Line:
    quantity, each, amount = (_cash(reader, document, x[k]) for k in ("quantity", "each", "amount"))
    plain = quantity[0].removesuffix(".00").removesuffix(",00")
    return Line(
        label=_name(reader, x["group"], str(x["id"]), str(x["name"])),
        sub=str(x["id"]) if x["group"] == "material" else "",
        values=(
            Value(
                label=_sheet(reader, "quantity"), text=plain, unit=_unit(reader, x["unit"]),
                why=reader.why(x.get("figure")),
            ),
            Value(label=say(reader, "each"), text=each[0]),
            Value(label=say(reader, "amount"), text=amount[0], unit=amount[1], strong=True),
        ),
    )  # fmt: skip


def _bid(reader: Reader, document: Json, b: Json) -> Line:
    quantity, each, amount = (
        _cash(reader, document, b[k]) for k in ("quantity", "unit_price", "amount")
    )
    return Line(
        label=f"{b['item']}  {b['text']}",
        values=(
            Value(
                label=_sheet(reader, "quantity"), unit=_unit(reader, b["unit"]),
                text=quantity[0].removesuffix(".00").removesuffix(",00"),
            ),
            Value(label=say(reader, "each"), text=each[0]),
            Value(
                label=say(reader, "amount"), text=amount[0], unit=amount[1], strong=True,
                why=reader.why(b.get("figure")),
            ),
        ),
    )  # fmt: skip


def _unit_price(reader: Reader, document: Json, u: Json) -> Line:
    price, unit = _cash(reader, document, u["price"])
    included = Decimal(str(u["allowance"]))
    return Line(
        label=str(u["name"]),
        values=(
            Value(
                label="", text=price, unit=f"{unit} / {_unit(reader, u['unit'])}", strong=True,
                why=reader.why(u.get("figure")),
            ),
            Value(label=_sheet(reader, "included"), text=f"{included:f}".removesuffix(".0")),
        ),
    )  # fmt: skip


def _alternates(reader: Reader, document: Json) -> Group:
    """The job and each alternate side by side, group by group."""
    alternates = document.get("alternates", ())
    here: dict[str, Decimal] = {}
    for x in document["lines"]:
        here[x["group"]] = here.get(x["group"], Decimal(0)) + Decimal(x["amount"])
    lines = []
    for a in alternates:
        names = list(dict.fromkeys([*here, *a["groups"]]))
        moved = [(n, Decimal(a["groups"].get(n, "0")) - here.get(n, Decimal(0))) for n in names]
        values = [
            Value(label=_sheet(reader, "total"), text=_cash(reader, document, a["total"])[0],
                  unit=str(document["currency"]), strong=True),
            Value(label=_sheet(reader, "difference"), text=_signed(reader, a["difference"]),
                  strong=True),
        ]  # fmt: skip
        values += [
            Value(label=words.say(f"price.group.{n}", reader.language), text=_signed(reader, by))
            for n, by in moved
            if by
        ]
        lines.append(Line(label=f"{a['id']}  {a['name']}", values=tuple(values)))
    return Group(
        title=_sheet(reader, "alternates"), note=say(reader, "alternates-note"), lines=tuple(lines)
    )


def _name(reader: Reader, group: str, row_id: str, name: str) -> str:
    """A name in the reader's language where it is a word of ours, else as it was typed."""
    key = {
        "labour": f"price.step.{row_id}",
        "sundries": f"price.sundry.{row_id}",
        "weather": "price.driver.lost",
    }.get(group, "")
    ours = [words.catalogue(lang).get(key) for lang in words.LANGUAGES]
    return words.say(key, reader.language) if key and name in ours else name


def _unit(reader: Reader, unit: str) -> str:
    key = f"supply.unit.{unit}" if unit in ("kit", "bag", "pack") else f"price.unit.{unit}"
    return words.say(key, reader.language) if key in words.catalogue("en") else unit
