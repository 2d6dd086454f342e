"""``deck read``, ``deck add``, ``deck takeoff``, ``deck access``."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from tackfree.cli.common import Bundle, Explain, Json, Out, Units, emit, refuse, system, talk

app = typer.Typer(
    no_args_is_help=True,
    help="Drawings into quantities.",
    epilog="Try: tackfree deck read demo/job/decks/P1.dxf --unit ft",
)


@app.command("read", epilog="Try: tackfree deck read demo/job/decks/P1.dxf --unit ft")
def read(
    file: Annotated[Path, typer.Argument(help="DXF, PDF, GeoJSON or a picture.", metavar="FILE")],
    unit: Annotated[
        str | None,
        typer.Option("--unit", help="One unit of the drawing.", metavar="ft|in|m|mm|cm"),
    ] = None,
    page: Annotated[int, typer.Option("--page", help="Page of a PDF.")] = 1,
    measured: Annotated[
        list[str] | None,
        typer.Option(
            "--measured",
            help='A length on the drawing, "x,y x,y = 200 ft"; a second one checks it.',
        ),
    ] = None,
    use_both: Annotated[
        bool, typer.Option("--use-both", help="A stretched sheet: one scale each way.")
    ] = False,
    part: Annotated[
        int | None, typer.Option("--part", help="One of several drawings on the sheet.")
    ] = None,
    layer: Annotated[
        list[str] | None, typer.Option("--layer", help="Layers to write; all without it.")
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option(
            "--out",
            help="Write closed outlines as GeoJSON; in a folder each drawing of a sheet apart.",
            metavar="FILE|DIR",
        ),
    ] = None,
    units: Units = None,
    json: Json = False,
) -> None:
    """Layers, what they enclose, what speaks for which unit; no areas without a unit."""
    from tackfree.service import drawing

    report, faults = drawing.read_drawing(
        file, unit=unit, page=page, measured=measured or (), use_both=use_both, part=part
    )
    if json:
        rows = [{"where": f.where, "what": f.what, "do": f.do} for f in faults]
        refused = {"refused": rows} if rows else {}
        emit({"schema": "tackfree.drawing/1", **drawing.document(report), **refused})
    else:
        print(drawing.text(report, system(units)))
        if faults:
            refuse(faults, as_json=False)
    if faults:
        raise typer.Exit(1)
    if out:
        for name in drawing.write_outlines(file, report, out, layers=layer or (), page=page):
            talk(f"Wrote {name}")


@app.command(
    "add",
    epilog="Try: tackfree job new my-deck && tackfree deck add demo/job/decks/P1.dxf my-deck "
    "--unit ft --layer ZONE-STALL=BU-WALK:light",
)
def add(
    file: Annotated[Path, typer.Argument(help="DXF, PDF or GeoJSON.", metavar="FILE")],
    bundle: Annotated[Path, typer.Argument(help="The folder of the job.", metavar="JOB")],
    layer: Annotated[
        list[str] | None,
        typer.Option(
            "--layer",
            help="A zone: layer, build-up, duty; LAYER@x,y takes the outline around a point. "
            "May repeat.",
            metavar="LAYER=BUILD-UP[:DUTY]",
        ),
    ] = None,
    unit: Annotated[
        str | None,
        typer.Option("--unit", help="One unit of the drawing.", metavar="ft|in|m|mm|cm"),
    ] = None,
    measured: Annotated[
        list[str] | None,
        typer.Option(
            "--measured",
            help='A length on the drawing, "x,y x,y = 200 ft"; a second one checks it.',
        ),
    ] = None,
    use_both: Annotated[
        bool, typer.Option("--use-both", help="A stretched sheet: one scale each way.")
    ] = False,
    page: Annotated[int, typer.Option("--page", help="Page of a PDF.")] = 1,
    part: Annotated[
        int | None, typer.Option("--part", help="One of several drawings on the sheet.")
    ] = None,
    deck_id: Annotated[
        str | None, typer.Option("--id", help="Id of the deck; from the file's name without it.")
    ] = None,
    name: Annotated[str | None, typer.Option("--name", help="What people call it.")] = None,
    exposure: Annotated[
        str,
        typer.Option(
            "--exposure",
            help="open-sky, covered, over-occupied, enclosed, on-grade or split-slab.",
        ),
    ] = "open-sky",
    storey: Annotated[
        str | None, typer.Option("--storey", help='Height of its storey, "10 ft 2 in".')
    ] = None,
    post_tensioned: Annotated[
        str, typer.Option("--post-tensioned", help="yes, no or unknown.")
    ] = "unknown",
    replace: Annotated[
        bool,
        typer.Option("--replace", help="Take an id that stands; its document is kept beside."),
    ] = False,
    units: Units = None,
    json: Json = False,
) -> None:
    """Make a drawing a deck of a job: copied, its unit confirmed, its layers made zones."""
    from tackfree.service import deck_add as service

    added = service.add(
        file,
        bundle,
        layers=layer or (),
        scaled=service.Scaled(
            unit=unit, measured=measured or (), use_both=use_both, page=page, part=part
        ),
        about=service.About(
            deck_id=deck_id,
            name=name,
            exposure=exposure,
            elevation=storey,
            post_tensioned=post_tensioned,
        ),
        replace=replace,
    )
    if json:
        emit({"schema": "tackfree.deck-add/1", "bundle": str(bundle), **service.document(added)})
        return
    for written in added.files:
        talk(f"Wrote {bundle / written}")
    print(service.text(added, bundle, system(units, added.units)))


@app.command("takeoff", epilog="Try: tackfree deck takeoff demo/job --out takeoff")
def takeoff(
    bundle: Bundle,
    out: Out = None,
    units: Units = None,
    explain: Explain = False,
    json: Json = False,
) -> None:
    """Areas, lengths and counts, zone by zone; with --out a workbook, drawings and a walk form."""
    from tackfree.service import report, takeoff_files
    from tackfree.service.pipeline import Pipeline

    made = Pipeline.of(bundle)
    if out:
        for name in takeoff_files.write(made, out, units):
            talk(f"Wrote {name}")
    if json:
        emit({"schema": "tackfree.takeoff/1", **report.takeoff(made)})
        return
    print(report.takeoff_text(made, system(units, made.job.units), explain=explain))


@app.command("access", epilog="Try: tackfree deck access demo/job --closed P2-RAMP-001")
def access(
    bundle: Bundle,
    closed: Annotated[
        list[str] | None, typer.Option("--closed", help="A lane or ramp closed for work.")
    ] = None,
    out: Out = None,
    json: Json = False,
) -> None:
    """Lanes, ramps and the street as they join, and the stalls that are cut off."""
    from tackfree.service import access as service
    from tackfree.service.pipeline import Pipeline

    made = Pipeline.of(bundle)
    shut = closed or []
    graph = service.graph_of(made, shut)
    if out:
        for name in service.write(made, graph, shut, out):
            talk(f"Wrote {name}")
    if json:
        emit({"schema": "tackfree.access/1", **service.document(made, graph, shut)})
        return
    print(service.text(made, graph, shut))
