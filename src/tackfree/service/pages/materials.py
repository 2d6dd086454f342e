"""The materials page: what to order and by when, then kits by section and coat."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from decimal import Decimal
from typing import Any

from tackfree import words
from tackfree.service.pages.calendar import calendar_of
from tackfree.service.pages.drawing import Mark
from tackfree.service.pages.frame import about, chosen_day, chosen_deck, page, sections_of
from tackfree.service.pages.read import Built, has_file
from tackfree.service.pages.said import Reader, Value
from tackfree.service.pages.types import Asked, Bar, Entry, Group, Line, Link, Page
from tackfree.sheets.proposal import money

Json = Mapping[str, Any]

DETAIL_FIGURES = {"packages": "", "length_m": "m", "area_m2": "m2", "volume_l": "L"}


def materials_page(built: Built, reader: Reader, asked: Asked, today: date, bundle: str) -> Page:
    """The order with its range and dates, kits per section and coat, wear and losses."""
    deck_id = chosen_deck(built, asked)
    chosen_day(calendar_of(built), asked, today)  # kept for the pages that show a day
    stage, more = built.stage("materials") or {}, built.stage("order") or {}
    sections = sections_of(built, deck_id)
    coats, details = stage.get("coats", ()), stage.get("details", ())
    entries = tuple(
        Entry(
            id=f"s-{s['id']}",
            name=s["id"],
            sub=about(reader, s),
            lines=tuple(_coat(reader, c) for c in coats if c["section_id"] == s["id"])
            + tuple(_detail(reader, d) for d in details if d["section_id"] == s["id"]),
        )
        for s in sections
    )
    kits = {
        s["id"]: sum(int(c["kits"]) for c in coats if c["section_id"] == s["id"]) for s in sections
    }
    groups = [
        _order_group(built, reader, stage, more),
        _deliveries(reader, more),
        Group(title=reader.say("kits-by-section"), entries=entries),
        _wear(reader, stage),
        _losses(reader, more),
        _savings(reader, more),
    ]
    return page(
        built, reader, "materials", deck_id=deck_id, strip=False,
        marks={
            k: Mark(state="waiting", word=said, title=f"{k}: {said}")
            for k, said in ((k, reader.say("kits-n", n=n)) for k, n in kits.items())
        },
        groups=tuple(g for g in groups if g is not None),
        lead=(Value(label=reader.say("kits-deck"), text=f"{sum(kits.values()):,}", strong=True),)
        if coats
        else (),
        notes=tuple(
            _noted(reader, n) for n in (*more.get("order_notes", ()), *stage.get("messages", ()))
        ),
        bundle=bundle,
    )  # fmt: skip


def _say(reader: Reader, name: str, /, **values: Any) -> str:
    return words.say(f"supply.page.{name}", reader.language, **values)


def _noted(reader: Reader, message: Json) -> str:
    """A sentence, a rule that warns with that word before it."""
    said = reader.message(message)
    warns = (message.get("values") or {}).get("level") == "warn"
    return _say(reader, "warning", said=said) if warns else said


def _order_group(built: Built, reader: Reader, stage: Json, more: Json) -> Group:
    """What to have of each product, with its range as a bar on one scale from nothing."""
    ranges = {r["product_id"]: r for r in more.get("ranges", ())}
    return Group(
        title=reader.say("order"),
        note=_say(reader, "order-note") if ranges else reader.say("order-note"),
        lines=tuple(_order(reader, o, ranges.get(o["product_id"])) for o in stage.get("order", ())),
        links=(Link(text=reader.say("order-file"), href="/files/order.xlsx"),)
        if has_file(built.out, "order.xlsx")
        else (),
    )


def _order(reader: Reader, line: Json, found: Json | None) -> Line:
    unit = {"bag": "kg"}.get(line["unit"], "L")
    pack = reader.word("pack", line["unit"])
    counted = reader.value(
        pack if found is None else _say(reader, "worked-out"), line["count"], "",
        figure=line.get("figure"), strong=found is None,
    )  # fmt: skip
    need = (
        reader.value(reader.say("figure.needed"), line.get("needed"), unit),
        reader.value(reader.say("figure.leftover"), line.get("leftover"), unit),
    )
    if found is None:
        return Line(label=line["product_id"], values=(counted, *need))
    why = found.get("figures") or {}
    values = [
        Value(
            label=_say(reader, "have"), text=f"{found['advised']:,}", strong=True,
            unit=words.say(f"supply.unit.{line['unit']}", reader.language),
            why=reader.why(why.get("advised")),
        ),
        counted,
        Value(
            label=_say(reader, "range"),
            text=f"{found['p10']:,} – {found['p50']:,} – {found['p90']:,}",
            why=reader.why(why.get("p50")),
        ),
        Value(label=_say(reader, "enough"), text=f"{100 * found['enough_share']:.0f} %"),
    ]  # fmt: skip
    trucks = found.get("deliveries") or ()
    if trucks and trucks[0].get("order_by"):
        values.append(
            Value(
                label=_say(reader, "order-by"),
                text=reader.day(date.fromisoformat(trucks[0]["order_by"])),
                why=reader.why(why.get("lead_days")),
                strong=True,
            )
        )
    if trucks:
        there = reader.day(date.fromisoformat(trucks[0]["arrives"]))
        values.append(Value(label=_say(reader, "there-by"), text=there))
    if found.get("returnable"):
        worth = found.get("return_value")
        currency = str(found.get("currency") or "")
        values.append(
            Value(
                label=_say(reader, "may-go-back"),
                text=f"{found['returnable']:,}",
                unit=f"({money(Decimal(worth), currency, reader.language)})" if worth else "",
            )
        )
    return Line(
        label=line["product_id"],
        sub=str(found.get("name", "")),
        values=(*values, *need),
        bar=_bar(reader, line["unit"], found),
    )


def _bar(reader: Reader, unit: str, found: Json) -> Bar:
    """Range, what is worked out and what to have, from 0 to a little over the largest."""
    top = 1.06 * float(max(found["p90"], found["advised"], found["computed"], 1))

    def at(value: float) -> int:
        return round(1000 * value / top)

    return Bar(
        low=at(found["p10"]),
        high=at(found["p90"]),
        ticks=(
            (at(found["p50"]), "likely"),
            (at(found["computed"]), "worked-out"),
            (at(found["advised"]), "have"),
        ),
        said=_say(
            reader, "bar", pack=reader.word("pack", unit), low=found["p10"], likely=found["p50"],
            high=found["p90"], computed=found["computed"], have=found["advised"],
        ),
    )  # fmt: skip


def _deliveries(reader: Reader, more: Json) -> Group | None:
    """Trucks of what comes in more than one."""
    lines = []
    for r in more.get("ranges", ()):
        trucks = r.get("deliveries") or ()
        for i, d in enumerate(trucks if len(trucks) > 1 else (), 1):
            days = {
                k: reader.day(date.fromisoformat(d[k]))
                for k in ("order_by", "arrives", "first_use", "last_use")
                if d.get(k)
            }
            values = [
                Value(label=reader.word("pack", r["unit"]), text=f"{d['count']:,}", strong=True)
            ]
            if "order_by" in days:
                values.append(Value(label=_say(reader, "order-by"), text=days["order_by"]))
            values.append(Value(label=_say(reader, "there-by"), text=days["arrives"]))
            used = f"{days['first_use']} – {days['last_use']}"
            values.append(Value(label=_say(reader, "used"), text=used))
            if d.get("spare"):
                values.append(Value(label=_say(reader, "spare"), text=f"{d['spare']:,}"))
            lines.append(
                Line(
                    label=r["product_id"],
                    sub=_say(reader, "delivery", n=i, of=len(trucks)),
                    values=tuple(values),
                )
            )
    note = _say(reader, "deliveries-note")
    return Group(title=_say(reader, "deliveries"), note=note, lines=tuple(lines)) if lines else None


def _wear(reader: Reader, stage: Json) -> Group | None:
    lines = tuple(
        Line(
            label=s.get("name") or words.say(f"price.sundry.{s['id']}", reader.language),
            values=(reader.value("", s["count"], "", figure=s.get("figure"), strong=True),),
        )
        for s in stage.get("sundries", ())
    )
    return Group(title=_say(reader, "wear"), lines=lines) if lines else None


def _losses(reader: Reader, more: Json) -> Group | None:
    lost: Json = more.get("losses") or {}
    lines = tuple(
        Line(
            label=words.say(f"supply.loss.{name}", reader.language),
            values=(reader.value("", amount, "m2" if name == "leftover-area" else "L"),),
        )
        for name, amount in lost.items()
        if amount
    )
    return Group(title=_say(reader, "losses"), lines=lines) if lines else None


def _savings(reader: Reader, more: Json) -> Group | None:
    """Other section sizes and shared kits, as sentences."""
    said: list[str] = []
    for p in more.get("proposals", ()):
        sizes = ", ".join(" ".join(reader.amount(a, "m2")) for a in p["sizes_m2"])
        said.append(
            words.say(
                "supply.note.sizes", reader.language, zones=", ".join(p["zone_ids"]),
                sizes=sizes, kits=p["kits"], given=p["given_kits"],
            )
        )  # fmt: skip
    said += [reader.message(m) for m in more.get("shared_kits", ())]
    lines: Sequence[Line] = [Line(label="", note=text) for text in said]
    return Group(title=_say(reader, "savings"), lines=tuple(lines)) if lines else None


def _coat(reader: Reader, coat: Json) -> Line:
    why = coat.get("figures") or {}
    values = [
        reader.value(
            reader.say("figure.kits"), coat["kits"], "", figure=why.get("kits"), strong=True
        ),
        reader.value(
            reader.say("figure.reach_m2"), coat.get("reach_m2"), "m2", figure=why.get("reach_m2")
        ),
        reader.value(
            reader.say("figure.wft_um"), coat.get("wft_um"), "um", figure=why.get("wft_um")
        ),
        reader.value(
            reader.say("figure.gross_l"), coat.get("gross_l"), "L", figure=why.get("gross_l")
        ),
        reader.value(
            reader.say("figure.leftover_l"),
            coat.get("leftover_l"),
            "L",
            figure=why.get("leftover_l"),
        ),
    ]
    if coat.get("bags"):
        values.append(
            reader.value(reader.say("figure.bags"), coat["bags"], "", figure=why.get("bags"))
        )
    sand = str(coat.get("aggregate_product_id") or "")
    return Line(
        label=reader.step(coat["coat_id"]),
        sub=" + ".join(t for t in (coat["product_id"], sand) if t),
        values=tuple(values),
    )


def _detail(reader: Reader, detail: Json) -> Line:
    why = detail.get("figures") or {}
    values = [
        reader.value(reader.say(f"figure.{name}"), detail[name], unit, figure=why.get(name),
                     strong=name == "packages")
        for name, unit in DETAIL_FIGURES.items()
        if detail.get(name)
    ]  # fmt: skip
    return Line(
        label=reader.word("detail", detail["kind"]), sub=detail["product_id"], values=tuple(values)
    )
