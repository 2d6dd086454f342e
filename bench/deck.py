"""Reading drawings: chosen layers and all layers against the bare reader, a PDF page."""

from __future__ import annotations

import math
import random
import statistics
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import ezdxf
import pypdfium2 as pdfium
import pypdfium2.raw as raw

from tackfree.deck.declared import DeckDoc, FeatureDoc, ZoneDoc
from tackfree.deck.types import Duty, Exposure, FeatureKind, PostTensioned
from tackfree.intake.dxf import read_deck, report_drawing
from tackfree.intake.pdf import read_page

RUNS = 3
SEED = 7


def run() -> list[dict[str, Any]]:
    """Rows of the bench table."""
    with tempfile.TemporaryDirectory() as folder:
        return [*_dxf(Path(folder)), _pdf(Path(folder))]


def _seconds(*works: Callable[[], Any]) -> list[float]:
    """Median time of each, taken in turns so that a busy moment hits all alike."""
    taken: list[list[float]] = [[] for _ in works]
    for work in works:
        work()  # warm
    for _ in range(RUNS):
        for row, work in zip(taken, works, strict=True):
            begun = time.process_time()
            work()
            row.append(time.process_time() - begun)
    return [statistics.median(row) for row in taken]


def _row(id_: str, seconds: float, base: float, baseline: str, goal: float) -> dict[str, Any]:
    ratio = seconds / base
    return {
        "id": id_, "value": seconds, "unit": "s", "baseline": baseline, "ratio": ratio,
        "goal": f"at most {goal}", "holds": ratio <= goal, "runs": RUNS,
    }  # fmt: skip


def _dxf(folder: Path) -> list[dict[str, Any]]:
    path = folder / "big.dxf"
    _big_drawing(path)
    doc = _declared()
    deck, _ = read_deck(path, doc)
    area = sum(z.outline.area for z in deck.zones) / 0.3048**2
    assert math.isclose(area, 600 * 400, rel_tol=1e-9), area
    bare, chosen, everything = _seconds(
        lambda: ezdxf.readfile(path),
        lambda: read_deck(path, doc),
        lambda: report_drawing(path),
    )
    return [
        _row("deck/chosen-layers", chosen, bare, "ezdxf.readfile, 50,000 entities", 1.3),
        _row("deck/all-layers", everything, bare, "ezdxf.readfile, 50,000 entities", 2.5),
    ]


def _declared() -> DeckDoc:
    zone = ZoneDoc(
        id="Z",
        name="Z",
        duty=Duty.LIGHT,
        exposure=Exposure.OPEN_SKY,
        build_up_id="BU",
        layer="DECK",
    )
    return DeckDoc(
        id="D",
        name="D",
        drawing="big.dxf",
        geojson=None,
        unit_m=0.3048,
        post_tensioned=PostTensioned.NO,
        elevation_m=0.0,
        zones=(zone,),
        features=(FeatureDoc(layer="COLUMN", kind=FeatureKind.COLUMN),),
    )


def _big_drawing(path: Path) -> None:
    """40,000 lines, 4,000 bulged polylines, 2,000 arcs, 1,000 circles, 3,000 texts and
    150 columns in blocks, over a deck of 600 by 400 ft."""
    made = random.Random(SEED)
    document = ezdxf.new("R2010")
    space = document.modelspace()
    corners = [(0, 0), (600, 0), (600, 400), (0, 400)]
    for a, b in zip(corners, [*corners[1:], corners[0]], strict=True):
        space.add_line(a, b, dxfattribs={"layer": "DECK"})
    block = document.blocks.new("COLUMN")
    block.add_lwpolyline([(-1, -1), (1, -1), (1, 1), (-1, 1)], close=True)
    for i in range(150):
        at = (20 + 40 * (i % 15), 20 + 40 * (i // 15))
        space.add_blockref("COLUMN", at, dxfattribs={"layer": "COLUMN"})

    def spot() -> tuple[float, float]:
        return made.uniform(0, 600), made.uniform(0, 400)

    for i in range(40_000):
        x, y = spot()
        turn = made.uniform(0, math.tau)
        end = (x + 6 * math.cos(turn), y + 6 * math.sin(turn))
        space.add_line((x, y), end, dxfattribs={"layer": f"LINE-{i % 8}"})
    for _ in range(4_000):
        x, y = spot()
        points = [(x, y, 0.4), (x + 2, y, 0), (x + 2, y + 1, 0.4), (x, y + 1, 0)]
        space.add_lwpolyline(points, format="xyb", close=True, dxfattribs={"layer": "SLOT"})
    for _ in range(2_000):
        space.add_arc(spot(), 2, 10, 120, dxfattribs={"layer": "ARC"})
    for _ in range(1_000):
        space.add_circle(spot(), 1, dxfattribs={"layer": "CIRCLE"})
    for i in range(3_000):
        text = space.add_text(str(i), dxfattribs={"layer": "TEXT"})
        text.set_placement(spot())
    document.saveas(path)


def _pdf(folder: Path) -> dict[str, Any]:
    path = folder / "page.pdf"
    _page(path)
    assert len(read_page(path).drawn.strokes) == 4_000

    def library() -> None:
        document = pdfium.PdfDocument(path)
        page = document[0]
        page.render(scale=200 / 72)
        for i in range(raw.FPDFPage_CountObjects(page.raw)):
            thing = raw.FPDFPage_GetObject(page.raw, i)
            for k in range(raw.FPDFPath_CountSegments(thing)):
                raw.FPDFPath_GetPathSegment(thing, k)
        page.close()
        document.close()

    base, ours = _seconds(library, lambda: read_page(path))
    return _row("deck/pdf-page", ours, base, "pypdfium2: page at 200 dpi, paths walked", 0.5)


def _page(path: Path) -> None:
    """4,000 paths of three legs on a 36 by 24 in page."""
    made = random.Random(SEED)
    rows = []
    for _ in range(4_000):
        x, y = made.uniform(20, 2500), made.uniform(20, 1650)
        rows.append(f"{x:.2f} {y:.2f} m {x + 40:.2f} {y:.2f} l {x + 40:.2f} {y + 30:.2f} l S")
    content = "0.7 w\n" + "\n".join(rows)
    objects = [
        "<< /Type /Catalog /Pages 2 0 R >>",
        "<< /Type /Pages /Kids [3 0 R] /Count 1 >>",
        "<< /Type /Page /Parent 2 0 R /MediaBox [0 0 2592 1728] /Contents 4 0 R >>",
        f"<< /Length {len(content)} >>\nstream\n{content}\nendstream",
    ]
    out, places = "%PDF-1.7\n", []
    for i, body in enumerate(objects, 1):
        places.append(len(out))
        out += f"{i} 0 obj\n{body}\nendobj\n"
    table = "".join(f"{p:010d} 00000 n \n" for p in places)
    start = len(out)
    out += f"xref\n0 5\n0000000000 65535 f \n{table}trailer\n<< /Size 5 /Root 1 0 R >>\n"
    path.write_bytes((out + f"startxref\n{start}\n%%EOF\n").encode("latin-1"))
