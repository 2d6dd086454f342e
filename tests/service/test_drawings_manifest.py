"""`deck read` on every file the manifest lists: its areas, or the refusal it deserves.

The list of files and every expected figure are read in the manifest beside the files: a
file that is added there without a row here fails, and so does a figure it does not give.
"""

from __future__ import annotations

import json
import re
from dataclasses import dataclass

import pytest
from tests.conftest import SHARED
from tests.intake.dxf_cases import Draft
from typer.testing import CliRunner

from tackfree.cli.app import app
from tackfree.intake.dxf.load import load
from tackfree.intake.dxf.outlines import hatch_polygons
from tackfree.intake.dxf.strokes import collect
from tackfree.service import drawing as service

MANIFEST = SHARED / "drawings" / "MANIFEST.md"
FT2 = 0.3048**2


@dataclass(frozen=True, kw_only=True)
class Want:
    """What the manifest says of a file, in its own figures.

    ``figures`` are areas: of the largest faces of ``layer`` (of all layers for None) in
    square drawing units, or of whole layers in m² or ft² where ``measure`` says so.
    """

    proposed: str | None
    refused: bool
    layer: str | None
    figures: tuple[str, ...]
    options: tuple[str, ...] = ()
    measure: str = "faces"
    header_lies: str | None = None
    within: float = 1e-4


# published: the drawings' manifest; digits as they stand there
WANT = {
    "house_plan_inches_labelled_mm.dxf": Want(
        proposed="in", refused=False, layer="xref-Bishop-Overland-08$0$A-FOOTPRINT",
        figures=("235,856", "68,096", "17,200", "4,472"), header_lies="mm",
    ),
    "pavilion_plan_metres.dxf": Want(
        proposed="m", refused=False, layer="Projection", figures=("295.41", "88.36"),
    ),
    "pavilion_plan_r12_blocks_mm.dxf": Want(
        proposed="mm", refused=False, layer="0", figures=("46,956,600", "7,700,000"),
    ),
    "pavilion_plan_vector.pdf": Want(
        proposed=None, refused=True, layer="2.62 pt #000000",
        figures=("264,131.6", "43,312.5"), options=("--measured", "227.1,0 4126.8,0 = 52 m"),
    ),
    "loop_lines_and_arcs.dxf": Want(
        proposed="m", refused=False, layer="0", figures=("7,383.710", "4,030.589"),
    ),
    "overlapping_end_loop.dxf": Want(
        proposed=None, refused=True, layer="0", figures=("8.000",), options=("--unit", "ft"),
    ),
    "hatches_with_holes.dxf": Want(
        proposed=None, refused=True, layer="0", options=("--unit", "in"), measure="hatches",
        figures=("31.230", "106.106", "69.099", "69.099", "7.095", "66.793", "27.858",
                 "152.211", "77.857", "206.584"),
    ),
    "closed_bulges_huge_coords_no_header.dxf": Want(
        proposed=None, refused=True, layer="test", figures=("10,210.1313",),
        options=("--unit", "m"),
    ),
    "wrench_lines_arcs_inch.dxf": Want(
        proposed=None, refused=True, layer="Sketch Geometry (ANSI)", figures=("1.66722",),
        options=("--unit", "in"),
    ),
    "parking_lots_cary.geojson": Want(
        proposed="m", refused=False, layer=None, measure="total ft²", figures=("547,226.3",),
    ),
}  # fmt: skip


def rows() -> dict[str, str]:
    """Each file of the manifest's table with its whole row; none without the folder."""
    if not MANIFEST.exists():
        return {}
    table = re.findall(r"^\| (\S+\.\w+) \|.*$", MANIFEST.read_text("utf-8"), re.MULTILINE)
    lines = MANIFEST.read_text("utf-8").splitlines()
    return {n: next(r for r in lines if r.startswith(f"| {n} |")) for n in table}


def deck_read(shared, name, *options):
    """The command itself: its exit and what it says as JSON."""
    done = CliRunner().invoke(
        app, ["deck", "read", str(shared / "drawings" / name), "--json", *options]
    )
    return done.exit_code, json.loads(done.stdout)


@pytest.mark.outside
def test_nothing_of_the_manifest_is_missing(shared):
    listed = rows()
    files = {p.name for p in (shared / "drawings").iterdir()} - {"MANIFEST.md"}
    assert set(listed) == files == set(WANT)
    for name, want in WANT.items():
        given = listed[name].replace(",", "")
        assert [f for f in want.figures if f.replace(",", "") not in given] == [], name


@pytest.mark.outside
@pytest.mark.parametrize("name", sorted(WANT))
def test_every_file_gives_its_areas_or_its_refusal(shared, name):
    want = WANT[name]
    code, found = deck_read(shared, name)
    assert found["proposed"] == want.proposed
    lies = [m["values"]["header"] for m in found["messages"] if m["id"] == "intake.header-lies"]
    assert lies == ([want.header_lies] if want.header_lies else [])
    assert (code, "refused" in found) == (int(want.refused), want.refused)
    if want.refused:
        assert all(x["closed_area_m2"] is None for x in found["layers"])
        code, found = deck_read(shared, name, *want.options)
        assert (code, "refused" in found) == (0, False)
    figures = [float(f.replace(",", "")) for f in want.figures]
    layers = [x for x in found["layers"] if want.layer in (None, x["name"])]
    if want.measure == "total ft²":
        total = sum(x["closed_area_m2"] for x in layers) / FT2
        assert [total] == pytest.approx(figures, rel=1e-6)
    elif want.measure == "hatches":
        hatches = collect(load(shared / "drawings" / name)[0], tolerance=1e-5).hatches
        got = [sum(p.area for p in hatch_polygons(h)) for h in hatches]
        assert got == pytest.approx(figures, rel=want.within)
        # the largest loop drawn is the outline of the tenth hatch
        assert layers[0]["largest_faces"][0] == pytest.approx(284.441, rel=want.within)
    else:
        (layer,) = layers
        assert layer["largest_faces"][: len(figures)] == pytest.approx(figures, rel=want.within)
        in_m2 = [f * found["area_unit_m"] ** 2 for f in layer["largest_faces"]]
        assert layer["largest_faces_m2"] == pytest.approx(in_m2)


SIZES = {"mm": 0.001, "cm": 0.01, "in": 0.0254, "ft": 0.3048, "m": 1.0}
HEADER = {"mm": 4, "cm": 5, "in": 1, "ft": 2, "m": 6, "none": 0}


@pytest.mark.parametrize("header", HEADER)
@pytest.mark.parametrize("unit", SIZES)
def test_whatever_the_header_says_the_dimension_is_believed(tmp_path, unit, header):
    """A floor of 200 by 100 ft, one written dimension: every header against every truth."""
    wide = 200 * 0.3048 / SIZES[unit]
    d = Draft().box(0, 0, wide, wide / 2)
    d.document.header["$INSUNITS"] = HEADER[header]
    d.space.add_linear_dim(base=(0, -wide / 40), p1=(0, 0), p2=(wide, 0), text="200'-0\"")
    path = tmp_path / "x.dxf"
    d.document.saveas(path)
    report, faults = service.read_drawing(path)
    assert (report.proposed, faults) == (unit, ())
    lies = [m.values["header"] for m in report.messages if m.id == "intake.header-lies"]
    assert lies == ([] if header in (unit, "none") else [header])
    largest = max(x["closed_area_m2"] for x in service.document(report)["layers"])
    assert largest / FT2 == pytest.approx(20_000, rel=1e-9)  # exact: 200 × 100
