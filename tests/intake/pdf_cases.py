"""PDF pages made on the spot, byte by byte."""

from __future__ import annotations

import struct
import zlib

FONT = "<< /Type /Font /Subtype /Type1 /BaseFont /Helvetica >>"


def text(words, x, y, *, high=10, turn=(1, 0)):
    """A line of lettering from (x, y), running along ``turn``."""
    c, s = turn
    safe = words.replace("\\", "\\\\").replace("(", "\\(").replace(")", "\\)")
    return f"BT /F1 {high} Tf {c} {s} {-s} {c} {x} {y} Tm ({safe}) Tj ET"


def pdf(content: str, *, forms=(), media=(0, 0, 800, 600), rotate=0, extra="", trailer="") -> bytes:
    """One page with a content stream; ``forms`` are (name, matrix, content, resources)."""
    resources = "".join(f"/{name} {6 + i} 0 R " for i, (name, *_) in enumerate(forms))
    objects = [
        "<< /Type /Catalog /Pages 2 0 R >>",
        "<< /Type /Pages /Kids [3 0 R] /Count 1 >>",
        f"<< /Type /Page /Parent 2 0 R /MediaBox [{' '.join(map(str, media))}] /Rotate {rotate} "
        f"/Contents 4 0 R /Resources 5 0 R {extra} >>",
        f"<< /Length {len(content)} >>\nstream\n{content}\nendstream",
        f"<< /XObject << {resources}>> /Font << /F1 {FONT} >> >>",
    ]
    for _, matrix, inner, names in forms:
        objects.append(
            f"<< /Type /XObject /Subtype /Form /BBox [-9999 -9999 9999 9999] "
            f"/Matrix [{' '.join(map(str, matrix))}] /Resources << /XObject << {names} >> >> "
            f"/Length {len(inner)} >>\nstream\n{inner}\nendstream"
        )
    out, places = "%PDF-1.7\n", []
    for i, body in enumerate(objects, 1):
        places.append(len(out))
        out += f"{i} 0 obj\n{body}\nendobj\n"
    start = len(out)
    out += f"xref\n0 {len(objects) + 1}\n0000000000 65535 f \n"
    out += "".join(f"{p:010d} 00000 n \n" for p in places)
    out += f"trailer\n<< /Size {len(objects) + 1} /Root 1 0 R {trailer} >>\n"
    return (out + f"startxref\n{start}\n%%EOF\n").encode("latin-1")


def circle(x, y, r):
    """Four cubics, as every program draws it."""
    k = 0.5522847498 * r
    return (
        f"{x + r} {y} m {x + r} {y + k} {x + k} {y + r} {x} {y + r} c "
        f"{x - k} {y + r} {x - r} {y + k} {x - r} {y} c "
        f"{x - r} {y - k} {x - k} {y - r} {x} {y - r} c "
        f"{x + k} {y - r} {x + r} {y - k} {x + r} {y} c h S"
    )


# 200 × 100 ft at 1 in = 20 ft (3.6 pt to the foot), a 20 × 30 ft opening, a 20 ft radius
DECK = "2 w 40 40 720 360 re S"
HOLES = f"1 w 1 0 0 RG 76 76 72 108 re S {circle(400, 220, 72)}"
PLAIN = f"{DECK} {HOLES}"


def with_packed_objects(content: str, page: str = "") -> bytes:
    """One page whose description stands in an object stream, as most programs write it."""
    inside = [
        "<< /Type /Catalog /Pages 2 0 R >>",
        "<< /Type /Pages /Kids [3 0 R] /Count 1 >>",
        f"<< /Type /Page /Parent 2 0 R /MediaBox [0 0 800 600] /Contents 4 0 R "
        f"/Resources << /Font << /F1 {FONT} >> >> {page} >>",
    ]
    offsets = [sum(len(b) + 1 for b in inside[:i]) for i in range(3)]
    head = " ".join(f"{i + 1} {offset}" for i, offset in enumerate(offsets)) + " "
    objects = zlib.compress(f"{head}{' '.join(inside)}".encode("latin-1"))
    out, places = b"%PDF-1.7\n", {}

    def put(number: int, names: str, body: bytes) -> None:
        nonlocal out
        places[number] = len(out)
        out += b"%d 0 obj\n<< %s /Length %d >>\nstream\n" % (number, names.encode(), len(body))
        out += body + b"\nendstream\nendobj\n"

    put(4, "", content.encode("latin-1"))
    put(5, f"/Type /ObjStm /N 3 /First {len(head)} /Filter /FlateDecode", objects)
    start = len(out)
    rows = [(0, 0, 0), (2, 5, 0), (2, 5, 1), (2, 5, 2), (1, places[4], 0), (1, places[5], 0),
            (1, start, 0)]  # fmt: skip
    table = b"".join(struct.pack(">BIB", *r) for r in rows)
    put(6, "/Type /XRef /Size 7 /W [1 4 1] /Root 1 0 R", table)
    return out + b"startxref\n%d\n%%%%EOF\n" % start
