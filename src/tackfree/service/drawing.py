"""A look into any drawing before a job exists: what it holds, its unit, its areas."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from tackfree import units
from tackfree.deck.declared import Measured
from tackfree.errors import Fault, InputError
from tackfree.intake.calibrate import Scale, scale_from
from tackfree.intake.dxf import report_drawing
from tackfree.intake.dxf.load import load
from tackfree.intake.dxf.read import stretched
from tackfree.intake.dxf.strokes import Drawn, collect
from tackfree.intake.dxf.unit import UNITS_M
from tackfree.intake.geojson_report import report_geojson
from tackfree.intake.outlines_out import outlines_geojson
from tackfree.intake.parts import part_around, size_of
from tackfree.intake.pdf import read_page, report_page
from tackfree.intake.pdf.scale import name_of as scale_name
from tackfree.intake.picture import picture_size
from tackfree.intake.report import DrawingReport, candidates, layers_of
from tackfree.service.save import to_json, write_atomic
from tackfree.service.tables import table
from tackfree.units import System, show
from tackfree.words import Message, say

PICTURES = {".png", ".jpg", ".jpeg", ".tif", ".tiff", ".bmp", ".gif", ".webp"}
GEOJSON = {".geojson", ".json"}
FT2_M2 = 0.3048**2
TRACE = (
    "Run `tackfree serve JOB` and open /trace: bring the file, measure a length on it and trace "
    "its zones; or ask for the drawing itself."
)
_MEASURED = re.compile(
    r"^\s*(-?[\d.]+)\s*,\s*(-?[\d.]+)\s+(-?[\d.]+)\s*,\s*(-?[\d.]+)\s*=\s*(.+?)\s*$"
)


def read_drawing(
    path: Path,
    *,
    unit: str | None = None,
    page: int = 1,
    measured: Sequence[str] = (),
    use_both: bool = False,
    part: int | None = None,
) -> tuple[DrawingReport, tuple[Fault, ...]]:
    """Look into a drawing of any kind.

    Parameters
    ----------
    path : Path
        DXF, vector PDF, GeoJSON or a picture, told apart by their ending.
    unit : str or None
        The confirmed unit, ft, in, m, mm or cm.
    page : int
        Of a PDF.
    measured : texts
        Lengths on the drawing, "x1,y1 x2,y2 = 200 ft"; they win over ``unit``.
    use_both : bool
        Give each direction of a stretched sheet its own scale.
    part : int or None
        One of several drawings on the sheet, by number.

    Returns
    -------
    report, faults
        The faults are empty where areas can be given: the unit is confirmed, or the
        drawing's evidence proposes one.

    Raises
    ------
    NotFound, InputError
        If there is no such file or it cannot be read.
    """
    suffix = path.suffix.lower()
    if suffix in PICTURES:
        return _picture(path)
    if unit is not None and suffix == ".pdf":
        raise InputError(
            "a PDF has no unit of its own.",
            where="--unit",
            do='Measure a long dimension on it: --measured "227,0 4127,0 = 52 m".',
        )
    if unit is not None and unit not in UNITS_M:
        raise InputError(
            f"{unit!r} is no unit of a drawing.",
            where="--unit",
            do=f"Write one of {', '.join(UNITS_M)}.",
        )
    scale = None
    if measured:
        lengths = tuple(map(length_of, measured))
        scale = scale_from(lengths, stretched=use_both, file=path.name)
    elif unit is not None:
        scale = Scale(x_m=UNITS_M[unit], y_m=UNITS_M[unit])
    if suffix == ".pdf":
        report = report_page(path, page, scale_m=scale.x_m if scale else None)
    elif suffix in GEOJSON:
        report = report_geojson(path)
    else:
        report = report_drawing(path)
    if part is not None or (scale and scale.x_m != scale.y_m):
        report = _again(path, report, page, part, scale)
    if scale is not None:
        said = (*report.messages, *scale.messages)
        report = replace(report, unit_m=scale.x_m, messages=said)
    return report, () if _unit_of(report) else (_no_unit(report),)


def length_of(text: str) -> Measured:
    """A measured length as typed: "x1,y1 x2,y2 = 200 ft".

    Raises
    ------
    InputError
        If it is none.
    """
    found = _MEASURED.match(text)
    if not found:
        raise InputError(
            f"{text!r} is no measured length.",
            where="--measured",
            do='Write two points and the length between them: "227,0 4127,0 = 52 m".',
        )
    x0, y0, x1, y1 = (float(found[i]) for i in range(1, 5))
    return Measured(start=(x0, y0), end=(x1, y1), length_m=units.parse(found[5], "length"))


def _drawn(path: Path, size: float, page: int) -> Drawn:
    if path.suffix.lower() == ".pdf":
        return read_page(path, page).drawn
    return collect(load(path)[0], tolerance=max(1e-6 * size, 1e-9))


def _again(
    path: Path, report: DrawingReport, page: int, part: int | None, scale: Scale | None
) -> DrawingReport:
    """The report of one drawing of the sheet, or of a sheet that was stretched."""
    if report.kind == "geojson":
        raise InputError(
            "a GeoJSON file is one drawing, in one scale.",
            where=path.name,
            do="Leave out --part and --use-both.",
        )
    drawn = _drawn(path, max(report.size), page)
    if part is not None:
        if not 1 <= part <= len(report.parts):
            raise InputError(
                f"there is no drawing {part} on the sheet; it has {len(report.parts)}.",
                where=path.name,
                do="Name one that `tackfree deck read` lists.",
            )
        drawn = part_around(drawn, report.parts[part - 1].at)
    up = 1.0 if scale is None else scale.y_m / scale.x_m
    if up != 1.0:
        drawn = stretched(drawn, up)
    layers = tuple(x for x in layers_of(drawn) if x.entities)
    return replace(
        report,
        layers=layers,
        size=size_of(drawn),
        parts=report.parts if part is None else (report.parts[part - 1],),
        part=part,
        y_over_x=up,
        candidates=candidates(layers) if report.candidates else (),
    )


def _unit_of(report: DrawingReport) -> float | None:
    if report.unit_m is not None:
        return report.unit_m
    return next((g.unit_m for g in report.units if g.unit == report.proposed), None)


def _no_unit(report: DrawingReport) -> Fault:
    if any(m.id == "intake.only-picture" for m in report.messages):
        return Fault(
            where=report.file,
            what="the page is a picture; it holds no lines to measure.",
            do=TRACE,
        )
    if report.kind == "pdf":
        return Fault(
            where=report.file,
            what="a PDF has no unit, so no areas are given.",
            do='Measure a long dimension on it: --measured "227,0 4127,0 = 52 m".',
        )
    figures = "; ".join(
        f"{c.unit}: {_ft2(c.area_m2)} ft² ({c.area_m2:,.4g} m²)"
        for c in report.candidates
        if c.area_m2
    )
    largest = f" The largest outline would be, in {figures}." if figures else ""
    return Fault(
        where=report.file,
        what=f"nothing in it proves its unit, so no areas are given.{largest}",
        do="Say what one unit is: --unit ft, in, m, mm or cm; or measure a length on it.",
    )


def _ft2(area_m2: float) -> str:
    ft2 = area_m2 / FT2_M2
    return f"{ft2:,.1f}" if ft2 >= 1 else f"{ft2:.4g}"


def _picture(path: Path) -> tuple[DrawingReport, tuple[Fault, ...]]:
    wide, high = picture_size(path)
    report = DrawingReport(
        file=path.name,
        kind="picture",
        layers=(),
        size=(float(wide), float(high)),
        units=(),
        messages=(Message(id="intake.only-picture", values={"file": path.name}),),
    )
    fault = Fault(
        where=path.name,
        what=f"this is a picture of {wide} × {high} pixels; it holds no lines to measure.",
        do=TRACE,
    )
    return report, (fault,)


def document(report: DrawingReport) -> dict[str, Any]:
    """The report for ``--json``: square drawing units, and m² where the unit is known."""
    unit_m = _unit_of(report)
    rows = to_json(report)
    factor = None if unit_m is None else unit_m**2
    for row in rows["layers"]:
        for key in ("closed_area", "face_area"):
            row[f"{key}_m2"] = None if factor is None else row[key] * factor
        row["largest_faces_m2"] = (
            None if factor is None else [f * factor for f in row["largest_faces"]]
        )
    rows["unit_confirmed"] = report.unit_m is not None
    rows["area_unit_m"] = unit_m
    return dict(rows)


def text(report: DrawingReport, system: System) -> str:
    """The report for people."""
    unit_m = _unit_of(report)
    wide, high = report.size
    out = [f"{report.file}: {wide:.6g} × {high:.6g} units."]
    if unit_m is not None:
        size = f"{show(wide * unit_m, 'length', system)} × {show(high * unit_m, 'length', system)}"
        option = "--measured" if report.kind == "pdf" else "--unit"
        how = "confirmed" if report.unit_m is not None else f"proposed; confirm it with {option}"
        out = [f"{report.file}: {size}; {_named(unit_m, report.kind)} ({how})."]
    if report.pages > 1:
        out.append(f"The file has {report.pages} pages.")
    for guess in report.units:
        why = "; ".join(say(m) for m in guess.evidence)
        out.append(f"  {guess.unit}, weight {guess.weight}: {why}")
    if len(report.parts) > 1:
        out.append(f"\nThe sheet holds {len(report.parts)} drawings that lie apart:")
        out += [
            f"  {p.number}: x {p.box[0]:.6g} to {p.box[2]:.6g}, y {p.box[1]:.6g} to "
            f"{p.box[3]:.6g}, {p.strokes} lines"
            for p in report.parts
        ]

    def area(value: float) -> str:
        if not value:
            return ""
        return f"{value:.6g}" if unit_m is None else show(value * unit_m**2, "area", system)

    rows = [
        [
            x.name,
            ", ".join(f"{n} {k}" for k, n in x.entities),
            str(x.closed_outlines or ""),
            area(x.closed_area),
            str(x.faces or ""),
            area(x.face_area),
            area(x.largest_faces[0]) if x.largest_faces else "",
        ]
        for x in report.layers
        if x.entities
    ]
    head = ["layer", "entities", "closed", "their area", "faces", "their area", "largest"]
    if rows:
        out += ["", table(head, rows)]
        if unit_m is None:
            out.append("Areas are in square drawing units.")
    out += ["", *(f"Note: {say(m)}" for m in report.messages)] if report.messages else []
    return "\n".join(out)


def _named(unit_m: float, kind: str) -> str:
    if kind == "pdf":
        return scale_name(unit_m)
    for name, size in UNITS_M.items():
        if abs(size - unit_m) <= 1e-9:
            return f"one unit is 1 {name}"
    return f"one unit is {unit_m:.6g} m"


def write_outlines(
    path: Path, report: DrawingReport, out: Path, *, layers: Sequence[str] = (), page: int = 1
) -> list[Path]:
    """Write the closed outlines of some layers as GeoJSON in metres, to start a deck from.

    Of several drawings on a sheet each becomes a file of its own where ``out`` is a
    folder; into one named file goes the drawing that was asked for, or the whole sheet.

    Parameters
    ----------
    report : DrawingReport
        As `read_drawing` gave it, with its part and its scales.
    layers : sequence of str
        Names as the report lists them; none takes every layer that encloses anything.

    Raises
    ------
    InputError
        For a file without lines, or a layer that is not there.
    """
    unit_m = _unit_of(report)
    if unit_m is None or report.kind in ("geojson", "picture"):
        raise InputError(
            "only outlines of a drawing with a known unit are written.",
            where=path.name,
            do="Confirm the unit with --unit or --measured.",
        )
    names = [x.name for x in report.layers]
    for name in layers:
        if name not in names:
            raise InputError(
                f"there is no layer {name}.",
                where="--layer",
                do=f"Name one of {', '.join(names)}.",
            )
    wanted = list(layers) or [x.name for x in report.layers if x.faces]
    whole = _drawn(path, max(report.size), page)
    named = out.suffix.lower() in GEOJSON
    apart = report.part is not None or (len(report.parts) > 1 and not named)
    written = []
    for part in report.parts if apart else (None,):
        drawn = whole if part is None else part_around(whole, part.at)
        if report.y_over_x != 1.0:
            drawn = stretched(drawn, report.y_over_x)
        number = "" if part is None else f"-{part.number}"
        target = out if named else out / f"{path.stem}{number}.geojson"
        write_atomic(target, outlines_geojson(drawn, wanted, unit_m=unit_m))
        written.append(target)
    return written
