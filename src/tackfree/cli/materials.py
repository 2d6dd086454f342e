"""``materials order`` and ``materials price``."""

from __future__ import annotations

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
        talk(f"Wrote {report.write_order(made, out)}")
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
