"""Kit marks: cells of one section and coat, or of all."""

from __future__ import annotations

from typing import Annotated

import typer

from tackfree.cli.common import Bundle, Json, Out, Units, emit, system, talk

app = typer.Typer(no_args_is_help=True, help="Kit cells and their order.")


@app.callback()
def root() -> None:
    """Cut sections into cells that one kit covers."""


@app.command("lay", epilog="Try: tackfree marks lay demo/job --section P1-LANE-A-1 --coat BASE")
def lay(
    bundle: Bundle,
    section: Annotated[str | None, typer.Option("--section", help="Section id.")] = None,
    coat: Annotated[str | None, typer.Option("--coat", help="Coat id, BASE.")] = None,
    direction: Annotated[
        float | None, typer.Option("--direction", help="Lanes, degrees from +x.")
    ] = None,
    lane: Annotated[float | None, typer.Option("--lane", help="Lane width. [m]")] = None,
    module: Annotated[bool, typer.Option("--module", help="Lanes of exactly that width.")] = False,
    kits: Annotated[int | None, typer.Option("--kits", help="Only so many kits at hand.")] = None,
    wet_edge: Annotated[
        float | None, typer.Option("--open", help="How long a wet edge stays open. [min]")
    ] = None,
    out: Out = None,
    units: Units = None,
    json: Json = False,
) -> None:
    """Cells, order and figures; with --out sheet, drawing, DXF and GeoJSON."""
    from tackfree.service import marks as service
    from tackfree.service.pipeline import Pipeline

    made = Pipeline.of(bundle)
    laid = service.lay_some(
        made,
        section,
        coat,
        direction_deg=direction,
        lane_m=lane,
        module=module,
        kits=kits,
        open_minutes=wet_edge,
    )
    if out:
        for one in laid:
            for path in service.write_marks(made, one, out):
                talk(f"Wrote {path}")
    if json:
        emit({"schema": "tackfree.marks/1", **service.document(laid)})
        return
    for one in laid:
        print(service.text_of(one, system(units, made.job.units)))
