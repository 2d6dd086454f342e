"""Draw the decks of the demo job: `python demo/draw.py [FOLDER]`.

The drawings are invented. Units are feet. Two runs write the same bytes.
"""

from __future__ import annotations

import sys
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import ezdxf

Point = tuple[float, float]

WIDE, LONG = 180.0, 166.0  # a level, x by y
AISLE = 22.0  # the cross aisle, at the head of P1 and at the foot of P2
FOOT, HEAD = AISLE, LONG - AISLE  # y between which the ramp climbs, beside the stalls
BAY = 24.0  # beside the level: the ramp, and a landing at each end of it
STALLS = [(0, 18), (42, 78), (102, 138), (162, 180)]  # x of the stall zones
COLUMN_Y = [1, 29, 55, 81, 109, 137, 165]
COLUMN_X = [1, 60, 120, 179]  # module lines and, flush, the edges
DRAIN_Y = [25, 70, 115, 155]
SHAFT = (0, HEAD, 10, LONG)  # the stair
JOINT_Y = 83.0
ROWS = [0, 42, 60, 102, 120, 162]  # x where a row of stalls starts
ACCESSIBLE = [13.5, 13.5, 18.0]  # with the aisle beside each; the widest takes a van
BALCONIES, BALCONY, STEP = 12, (12.0, 4.25), 15.0

LAYERS = {
    "ZONE-STALL": 3,
    "ZONE-LANE": 4,
    "ZONE-RAMP": 6,
    "ZONE-BALC": 3,
    "COLUMN": 7,
    "OPENING": 1,
    "DRAIN": 5,
    "CRACK-HAIR": 8,
    "CRACK-FINE": 8,
    "CRACK-WIDE": 8,
    "JOINT": 2,
    "UPTURN": 30,
    "TERMINATION": 40,
    "STALL": 9,
    "STALL-ACCESS": 5,
    "STALL-NO": 9,
    "ENTRANCE": 3,
    "EXIT": 1,
    "STOP-LINE": 6,
    "WALL": 7,
    "TITLE": 7,
    "DIMENSION": 7,
}


class Sheet:
    """One drawing in the making."""

    def __init__(self, title: str) -> None:
        self.document: Any = ezdxf.new("R2010", setup=["linetypes", "styles", "dimstyles"])
        self.document.header["$INSUNITS"] = 2  # feet
        self.document.header["$MEASUREMENT"] = 0
        for name, colour in LAYERS.items():
            self.document.layers.add(name, color=colour)
        self.space = self.document.modelspace()
        column = self.document.blocks.new("COLUMN-24")
        column.add_lwpolyline([(0, 0), (2, 0), (2, 2), (0, 2)], close=True)
        drain = self.document.blocks.new("FLOOR-DRAIN")
        drain.add_circle((0, 0), 0.5)
        drain.add_point((0, 0))
        self.text(title, (0, -20), layer="TITLE", height=4)

    def box(self, x0: float, y0: float, x1: float, y1: float, *, layer: str) -> None:
        self.ring([(x0, y0), (x1, y0), (x1, y1), (x0, y1)], layer=layer)

    def ring(self, points: Iterable[Point], *, layer: str) -> None:
        self.space.add_lwpolyline(list(points), close=True, dxfattribs={"layer": layer})

    def line(self, *points: Point, layer: str) -> None:
        if len(points) == 2:
            self.space.add_line(*points, dxfattribs={"layer": layer})
        else:
            self.space.add_lwpolyline(points, dxfattribs={"layer": layer})

    def text(self, text: str, at: Point, *, layer: str, height: float) -> None:
        self.space.add_text(text, height=height, dxfattribs={"layer": layer, "insert": at})

    def drain(self, at: Point) -> None:
        self.space.add_blockref("FLOOR-DRAIN", at, dxfattribs={"layer": "DRAIN"})

    def column(self, x: float, y: float, *, mirrored: bool = False) -> None:
        """A 2 ft column about its centre; the block's corner is its base point."""
        if mirrored:
            self.space.add_blockref(
                "COLUMN-24", (x + 1, y - 1), dxfattribs={"layer": "COLUMN", "xscale": -1}
            )
        else:
            self.space.add_blockref("COLUMN-24", (x - 1, y - 1), dxfattribs={"layer": "COLUMN"})

    def dimension(self, a: Point, b: Point, base: Point, angle: float = 0) -> None:
        self.space.add_linear_dim(
            base=base, p1=a, p2=b, angle=angle, dxfattribs={"layer": "DIMENSION"}
        ).render()

    def save(self, path: Path) -> None:
        # The library walks a set here, whose order changes from run to run.
        for kind in sorted(self.document.entitydb.dxf_types_in_use()):
            self.document.classes.add_class(kind)
        self.document.saveas(path)


def lane_rings(*, upper: bool) -> list[list[Point]]:
    """Lanes A, B and C with their shares of the cross aisle, counterclockwise.

    Closing any one of them leaves the others joined to a street:

        P1  AAA BB CC=    P2   A  B  C     = landing of the ramp
             A  B  C           A  B  C
             A  B  C          AAA BB CC=
    """
    rings: list[list[Point]] = [
        [(18, 0), (42, 0), (42, HEAD), (78, HEAD), (78, LONG), (0, LONG), (0, HEAD), (18, HEAD)],
        [(78, 0), (102, 0), (102, HEAD), (138, HEAD), (138, LONG), (78, LONG)],
        [(138, 0), (162, 0), (162, HEAD), (WIDE + BAY, HEAD), (WIDE + BAY, LONG), (138, LONG)],
    ]
    return [[(x, LONG - y) for x, y in reversed(r)] for r in rings] if upper else rings


def level(name: str, *, ramp: bool) -> Sheet:
    """A parking level; ``ramp`` adds the ramp up to it and puts an island into a row."""
    s = Sheet(f"{name} - invented for demonstration")
    for x0, x1 in STALLS:
        s.box(x0, FOOT if ramp else 0, x1, LONG if ramp else HEAD, layer="ZONE-STALL")
    for ring in lane_rings(upper=ramp):
        s.ring(ring, layer="ZONE-LANE")
    for x in COLUMN_X:
        for y in COLUMN_Y:
            s.column(x, y, mirrored=x == 120 and y == 55)
    s.box(*SHAFT, layer="OPENING")
    for x in (30, 90, 150):
        for y in DRAIN_Y:
            s.drain((x, y))
    s.line((0, JOINT_Y), (WIDE, JOINT_Y), layer="JOINT")
    s.line((0, JOINT_Y), (WIDE, JOINT_Y), layer="STOP-LINE")
    s.line((0, 0), (0, HEAD), layer="UPTURN")
    s.line((0, HEAD), (10, HEAD), (10, LONG), layer="UPTURN")
    s.dimension((0, 0), (WIDE, 0), (0, -8))
    s.dimension((0, 0), (0, LONG), (-8, 0), angle=90)
    if ramp:
        upper(s)
    else:
        lower(s)
    painted(s, name, ramp=ramp)
    return s


def gate(s: Sheet, x: float, y: float) -> None:
    """A drive to the street, 12 ft in and 12 ft out."""
    s.line((x, y), (x + 12, y), layer="ENTRANCE")
    s.line((x + 12, y), (x + 24, y), layer="EXIT")
    s.line((x, y), (x + 24, y), layer="TERMINATION")


def lower(s: Sheet) -> None:
    """What only P1 has: two gates to the lower street, the ramp's foot, and its cracks."""
    s.line((10, LONG), (WIDE + BAY, LONG), (WIDE + BAY, HEAD), layer="UPTURN")
    s.line((WIDE, HEAD), (WIDE, 0), (162, 0), layer="UPTURN")
    s.line((138, 0), (42, 0), layer="UPTURN")
    s.line((18, 0), (0, 0), layer="UPTURN")
    gate(s, 18, 0)
    gate(s, 138, 0)
    s.line((-1, -1), (-1, LONG + 1), (205, LONG + 1), (205, HEAD), layer="WALL")
    s.line((20, 30), (20, 70), layer="CRACK-HAIR")
    s.line((5, 100), (35, 100), layer="CRACK-HAIR")
    s.line((80, 20), (83, 24), (83, 54), layer="CRACK-FINE")
    s.line((110, 55), (130, 55), layer="CRACK-WIDE")  # runs through a column


def upper(s: Sheet) -> None:
    """What only P2 has: the ramp with its curbs, a gate uphill, an island, and its cracks."""
    s.box(WIDE, FOOT, WIDE + BAY, HEAD, layer="ZONE-RAMP")
    s.line((WIDE, FOOT), (WIDE + BAY, FOOT), layer="STOP-LINE")
    s.line((WIDE, HEAD), (WIDE + BAY, HEAD), layer="TERMINATION")
    s.line((10, LONG), (18, LONG), layer="UPTURN")
    s.line((42, LONG), (WIDE, LONG), (WIDE, HEAD), layer="UPTURN")
    s.line((WIDE + BAY, HEAD), (WIDE + BAY, 0), (0, 0), layer="UPTURN")
    curb = [FOOT, *(y + d for y in COLUMN_Y[1:-1] for d in (-1, 1)), HEAD]
    for y0, y1 in zip(curb[::2], curb[1::2], strict=True):  # from column to column
        s.line((WIDE, y0), (WIDE, y1), layer="UPTURN")
    gate(s, 18, LONG)
    s.line((-1, -1), (-1, LONG + 1), (WIDE + 1, LONG + 1), (WIDE + 1, HEAD + 1), layer="WALL")
    island = [(54, 159, 0), (66, 159, 1), (66, 163, 0), (54, 163, 1)]  # round ends: bulge 1
    s.space.add_lwpolyline(island, format="xyb", close=True, dxfattribs={"layer": "OPENING"})
    s.line((192, 40), (192, 80), layer="CRACK-HAIR")
    s.line((22, 10), (22, 90), layer="CRACK-HAIR")
    s.line((90, 30), (90, 90), layer="CRACK-FINE")
    s.line((45, 100), (75, 100), layer="CRACK-WIDE")
    s.line((84, 120), (84, 144), layer="CRACK-WIDE")


def painted(s: Sheet, name: str, *, ramp: bool) -> None:
    """Stalls 9 ft by 18 ft with their numbers, row by row; on P1 six accessible ones."""
    number = 0
    for x in ROWS:
        accessible = ACCESSIBLE if not ramp and x in (0, 162) else []
        plain = round((HEAD - sum(accessible)) / 9)
        if ramp:  # the stair and the island take some
            plain -= {0: 3, 42: 1, 60: 1}.get(x, 0)
        y = FOOT if ramp else 0.0
        for deep, layer in [(9.0, "STALL")] * plain + [(d, "STALL-ACCESS") for d in accessible]:
            number += 1
            s.box(x, y, x + 18, y + deep, layer=layer)
            s.text(f"{name[1]}{number:03d}", (x + 6, y + 3), layer="STALL-NO", height=2)
            y += deep


def balconies() -> Sheet:
    """Twelve balconies in a row, unfolded to one plan."""
    s = Sheet("BAL - invented for demonstration")
    wide, deep = BALCONY
    for i in range(BALCONIES):
        x = i * STEP
        s.box(x, 0, x + wide, deep, layer="ZONE-BALC")
        s.line((x, deep), (x, 0), (x + wide, 0), (x + wide, deep), layer="UPTURN")
        s.line((x, deep), (x + wide, deep), layer="TERMINATION")
        s.drain((x + 6, 4))
        s.text(f"B{i + 1:02d}", (x + 4, 6), layer="TITLE", height=1)
    s.dimension((0, 0), (wide, 0), (0, -4))
    return s


def draw(folder: Path) -> list[Path]:
    """Write the three drawings into a folder."""
    before = ezdxf.options.write_fixed_meta_data_for_testing
    ezdxf.options.write_fixed_meta_data_for_testing = True  # no clock, no random ids
    try:
        folder.mkdir(parents=True, exist_ok=True)
        sheets = {
            "P1": level("P1", ramp=False),
            "P2": level("P2", ramp=True),
            "BAL": balconies(),
        }
        for name, sheet in sheets.items():
            sheet.save(folder / f"{name}.dxf")
        return [folder / f"{name}.dxf" for name in sheets]
    finally:
        ezdxf.options.write_fixed_meta_data_for_testing = before


if __name__ == "__main__":
    here = Path(__file__).resolve().parent / "job" / "decks"
    for written in draw(Path(sys.argv[1]) if len(sys.argv) > 1 else here):
        print(written)
