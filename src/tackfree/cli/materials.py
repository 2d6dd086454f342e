"""``materials order``, ``materials price`` and ``materials forecast``."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from tackfree.cli.common import Bundle, Explain, Json, Out, Units, emit, system, talk

app = typer.Typer(no_args_is_help=True, help="Kits, sand, sealant, and what they cost.")


@app.command("order", epilog="Try: tackfree materials order demo/job --out order")
def order(
    bundle: Bundle,
    out: Out = None,
    units: Units = None,
    plan: Annotated[
        bool, typer.Option("--plan", help="Plan the job first, and date the order by it.")
    ] = False,
    explain: Explain = False,
    json: Json = False,
) -> None:
    """Whole kits, bags and packs with their likely range and dates; with --out order.xlsx."""
    from tackfree.service import report, supply
    from tackfree.service.pipeline import Pipeline

    made = Pipeline.of(bundle)
    if out:
        talk(f"Wrote {supply.write_order(made, out, planned=plan)}")
    if json:
        emit({"schema": "tackfree.materials/1", **supply.order_document(made, planned=plan)})
        return
    print(report.order_text(made, system(units, made.job.units), explain=explain))
    shown = system(units, made.job.units)
    print("\n" + supply.order_more(made, shown, planned=plan, explain=explain))


@app.command("price", epilog="Try: tackfree materials price demo/job --out quote")
def price(bundle: Bundle, out: Out = None, explain: Explain = False, json: Json = False) -> None:
    """The price with its range and drivers; with --out price.xlsx and proposal.pdf."""
    from tackfree.service import quote
    from tackfree.service.pipeline import Pipeline

    made = Pipeline.of(bundle)
    if json:
        document = quote.price_document(made)
    if out:
        for path in quote.write_quote(made, out):
            talk(f"Wrote {path}")
    if json:
        emit({"schema": "tackfree.price/1", **document})
        return
    print(quote.price_text(made, explain=explain))


@app.command("forecast", epilog="Try: tackfree materials forecast demo/job --on-order HEN-B=20")
def forecast(
    bundle: Bundle,
    today: Annotated[
        str | None, typer.Option("--today", help="Work still to do lies from this date on.")
    ] = None,
    on_order: Annotated[
        list[str] | None,
        typer.Option("--on-order", help="PRODUCT=KITS ordered and not here yet; may repeat."),
    ] = None,
    earlier: Annotated[
        list[Path] | None,
        typer.Option("--earlier", help="Bundle of an earlier job of this crew; may repeat."),
    ] = None,
    plan: Annotated[
        bool, typer.Option("--plan", help="Plan the job first, and take its days.")
    ] = False,
    built: Annotated[
        Path | None,
        typer.Option("--built", help="Take the days of the plan in this output folder."),
    ] = None,
    language: Annotated[str, typer.Option("--lang", help="en or es.")] = "en",
    out: Out = None,
    json: Json = False,
) -> None:
    """Kits still to open, learnt from those logged, and what to order by when."""
    from tackfree.cli.common import choice
    from tackfree.service import consumption_words as words
    from tackfree.words import LANGUAGES

    choice(language, LANGUAGES, "--lang")
    made, found = words.asked(
        bundle,
        today=today,
        on_order=on_order or (),
        earlier=earlier or (),
        planned=plan,
        built=built,
    )
    if out:
        from tackfree.service import kit_fans

        day = words.day_of(made, today)
        talk(f"Wrote {kit_fans.write_forecast(made, found, out, today=day, language=language)}")
    if json:
        emit({"schema": "tackfree.forecast/1", **words.document(found)})
        return
    print(words.text(made, found, language))
