"""Kit marks: cells of one section and coat, or of all."""

from __future__ import annotations

from typing import Annotated

import typer

from tackfree.cli.common import Bundle, Json, Out, Units, emit, system, talk

app = typer.Typer(no_args_is_help=True, help="Kit cells and their order.")
Texts = list[str] | None


@app.callback()
def root() -> None:
    """Cut sections into cells that one kit covers."""


@app.command("lay", epilog="Try: tackfree marks lay demo/job --section P1-LANE-A-1 --coat BASE")
def lay(
    bundle: Bundle,
    section: Annotated[
        Texts, typer.Option("--section", help="Section id; again for the next in order.")
    ] = None,
    coat: Annotated[str | None, typer.Option("--coat", help="Coat id, BASE.")] = None,
    direction: Annotated[
        float | None, typer.Option("--direction", help="Lanes, degrees from +x.")
    ] = None,
    lane: Annotated[str | None, typer.Option("--lane", help="Lane width, '10 ft'.")] = None,
    module: Annotated[bool, typer.Option("--module", help="Lanes of exactly that width.")] = False,
    start: Annotated[str | None, typer.Option("--start", help="Begin near x,y.")] = None,
    exits: Annotated[Texts, typer.Option("--exit", help="Leave at x,y.")] = None,
    stop_lines: Annotated[
        Texts, typer.Option("--stop-line", help="A wet edge may end at 'x,y x,y'.")
    ] = None,
    no_go: Annotated[Texts, typer.Option("--no-go", help="Nobody steps over 'x,y x,y'.")] = None,
    keep_out: Annotated[
        Texts, typer.Option("--keep-out", help="Floor left out, 'x,y x,y x,y'.")
    ] = None,
    stall: Annotated[Texts, typer.Option("--stall", help="A stall where cars stay.")] = None,
    kits: Annotated[int | None, typer.Option("--kits", help="Only so many kits at hand.")] = None,
    lane_end: Annotated[
        bool, typer.Option("--lane-end", help="End those kits at the end of a lane.")
    ] = False,
    truck: Annotated[
        str | None, typer.Option("--truck", help="More kits are promised at, '15:00'.")
    ] = None,
    down_by: Annotated[
        str | None, typer.Option("--down-by", help="The last kit must be down at, '17:40'.")
    ] = None,
    placed: Annotated[
        int, typer.Option("--placed", help="Cells already down; the rest is laid anew.")
    ] = 0,
    wet_edge: Annotated[
        float | None, typer.Option("--open", help="How long a wet edge stays open. [min]")
    ] = None,
    slab: Annotated[
        str | None, typer.Option("--slab", help="Slab, '92 °F': the sheet's open time there.")
    ] = None,
    passage: Annotated[
        str | None, typer.Option("--passage", help="Narrowest way a person walks, '2 ft'.")
    ] = None,
    best: Annotated[int, typer.Option("--best", help="So many layouts to choose from.")] = 1,
    out: Out = None,
    units: Units = None,
    json: Json = False,
) -> None:
    """Cells, order and figures; with --out sheet, drawing, DXF and GeoJSON.

    Places are x,y of the drawing, in feet or metres as the job has it.
    """
    from tackfree.service import marks as service
    from tackfree.service import marks_papers as papers
    from tackfree.service.marks_asked import ask_of
    from tackfree.service.pipeline import Pipeline

    made = Pipeline.of(bundle)
    ask = ask_of(
        made, section or (), direction_deg=direction, lane=lane, module=module,
        exits=exits or (), start=start, stop_lines=stop_lines or (), no_go=no_go or (),
        keep_out=keep_out or (), stalls=stall or (), kits=kits, lane_end=lane_end,
        placed=placed, open_minutes=wet_edge, slab=slab, passage=passage,
        truck=truck, down_by=down_by,
    )  # fmt: skip
    laid = service.lay_some(made, section or (), coat, ask, count=best)
    if out:
        for path in papers.write_all(made, laid, out):
            talk(f"Wrote {path}")
    if json:
        emit({"schema": "tackfree.marks/1", **papers.document(laid)})
        return
    for one in laid:
        print(papers.text_of(one, system(units, made.job.units)))
