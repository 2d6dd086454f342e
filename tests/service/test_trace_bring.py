"""Drawings brought to a job: what is taken, what is refused and how, and what is shown of it."""

from __future__ import annotations

import io
import resource
import struct
import zipfile
import zlib
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from tests.intake.pdf_cases import PLAIN, pdf

from tackfree.errors import InputError, NotFound, ToolError
from tackfree.service.trace import bring, ground
from tackfree.service.trace.refuse import NotTaken


def brought(folder: Path, name: str, data: bytes) -> bring.Brought:
    incoming = bring.Incoming(folder=folder, name=name)
    try:
        for k in range(0, len(data), 65_536):
            incoming.write(data[k : k + 65_536])
    except ToolError:
        incoming.drop()
        raise
    return incoming.keep()


def left(folder: Path) -> list[str]:
    return sorted(p.name for p in folder.iterdir())


def picture(wide: int, high: int, kind: str = "PNG", **more: object) -> bytes:
    """A picture whose left half is black and right half white."""
    rows = np.full((high, wide), 255, dtype=np.uint8)
    rows[:, : wide // 2] = 0
    out = io.BytesIO()
    Image.fromarray(rows).save(out, kind, **more)
    return out.getvalue()


def png_header(wide: int, high: int) -> bytes:
    """A PNG that claims a size and packs one byte of nothing."""

    def chunk(name: bytes, body: bytes) -> bytes:
        return (
            struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))
        )

    head = struct.pack(">IIBBBBB", wide, high, 1, 0, 0, 0, 0)
    packed = zlib.compress(b"\0" * 64)
    return (
        b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", packed) + chunk(b"IEND", b"")
    )


SVG = b'<svg xmlns="http://www.w3.org/2000/svg"><script>alert(1)</script></svg>'
ZIP = io.BytesIO()
with zipfile.ZipFile(ZIP, "w", zipfile.ZIP_DEFLATED) as packed:
    packed.writestr("zeros", b"\0" * 50_000_000)

REFUSED = [
    ("plan.png", b"", "empty"),
    ("plan.pdf", b"   \n", "empty"),
    ("plan.png", SVG, "kind-svg"),
    ("plan.png", b'<?xml version="1.0"?>' + SVG, "kind-svg"),
    ("plan.pdf", ZIP.getvalue(), "kind-packed"),
    ("plan.pdf", b"\x1f\x8b\x08rest", "kind-packed"),
    ("plan.dwg", b"AC1032 and more", "kind-dwg"),
    ("plan.dxf", b"  0\nSECTION\n  2\nHEADER\n", "kind-dxf"),
    ("plan.geojson", b'{"type": "FeatureCollection"}', "kind-geojson"),
    ("plan.png", picture(8, 8, "GIF"), "kind-other-picture"),
    ("scan.tif", picture(8, 8, "TIFF"), "kind-other-picture"),
    ("plan.png", b"<html><script>alert(1)</script></html>", "kind-unknown"),
    ("plan.pdf", b"\n\n%PDF-1.7 but not at its beginning", "kind-unknown"),
]


@pytest.mark.parametrize(("name", "data", "why"), REFUSED, ids=[f"{w}-{n}" for n, _, w in REFUSED])
def test_what_cannot_be_traced_over_is_refused_with_a_remedy(
    tmp_path: Path, name: str, data: bytes, why: str
) -> None:
    with pytest.raises(NotTaken) as refusal:
        brought(tmp_path, name, data)
    assert refusal.value.id == why
    for language in ("en", "es"):
        (fault,) = refusal.value.faults_in(language)
        assert fault.where == name
        assert fault.what.endswith(".")
        assert fault.do.endswith((".", "FILE."))
    assert left(tmp_path) == []


@pytest.mark.parametrize(
    ("name", "data", "said"),
    [
        ("big.png", png_header(30_000, 30_000), "30000"),
        ("wide.png", png_header(30_000, 10), "30000 × 10"),
        ("bomb.png", png_header(19_000, 19_000), "far too large"),
        ("large.png", png_header(13_000, 13_000), "169 million"),
        ("torn.pdf", b"%PDF-1.7\nnothing more", "damaged"),
        ("torn.png", b"\x89PNG\r\n\x1a\nnothing more", "no picture"),
        ("torn.jpg", b"\xff\xd8\xff\xe0nothing more", "no picture"),
    ],
)
def test_large_and_torn_files_are_refused_before_they_are_unpacked(
    tmp_path: Path, name: str, data: bytes, said: str
) -> None:
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    with pytest.raises(InputError, match=said if said != "30000" else "large|30000") as refusal:
        brought(tmp_path, name, data)
    grown = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before
    assert grown < 60_000  # kB; 30,000 × 30,000 unpacked is 900 MB
    assert refusal.value.where == name
    assert refusal.value.do
    assert left(tmp_path) == []


@pytest.mark.parametrize("kind", ["PNG", "JPEG"])
def test_a_picture_that_ends_early_is_refused(tmp_path: Path, kind: str) -> None:
    noise = np.random.default_rng(3).integers(0, 255, (300, 400), dtype=np.uint8)
    out = io.BytesIO()
    Image.fromarray(noise).save(out, kind)
    with pytest.raises(InputError, match="torn"):
        brought(tmp_path, "scan", out.getvalue()[: len(out.getvalue()) // 2])
    assert left(tmp_path) == []


def test_a_pdf_with_a_password_is_refused(tmp_path: Path) -> None:
    # an encryption dictionary whose owner and user keys fit no empty password
    lock = f"/Encrypt << /Filter /Standard /V 1 /R 2 /P -4 /O <{'41' * 32}> /U <{'42' * 32}> >>"
    locked = pdf(PLAIN, trailer=lock + " /ID [<00> <00>]")
    with pytest.raises(InputError, match="password"):
        brought(tmp_path, "locked.pdf", locked)
    assert left(tmp_path) == []


def test_more_bytes_than_allowed_stop_while_they_come(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(bring, "LARGEST_BYTES", 1_000_000)
    with pytest.raises(NotTaken, match="larger than"):
        brought(tmp_path, "plan.pdf", b"%PDF-" + b"\0" * 2_000_000)
    assert left(tmp_path) == []


@pytest.mark.parametrize(
    ("name", "kept"),
    [
        ("plan.png", "plan.png"),
        ("Étage 2 – haut.PNG", "Etage-2-haut.png"),
        ("../../etc/passwd.png", "passwd.png"),
        ("C:\\plans\\P1.pdf", "P1.png"),  # the bytes are a picture's, whatever the name says
        (".hidden", "drawing.png"),
        ("x" * 300 + ".png", "x" * 60 + ".png"),
        ("\u202egnp.nalp", "gnp.png"),
    ],
)
def test_names_are_plain_and_told_by_the_bytes(tmp_path: Path, name: str, kept: str) -> None:
    assert brought(tmp_path, name, picture(40, 30)).file == kept
    assert left(tmp_path) == [kept]


def test_the_same_drawing_is_kept_once_and_no_other_is_overwritten(tmp_path: Path) -> None:
    first, other = picture(40, 30), picture(60, 30)
    assert brought(tmp_path, "plan.png", first).file == "plan.png"
    assert brought(tmp_path, "plan.png", first).file == "plan.png"
    assert brought(tmp_path, "plan.png", other).file == "plan-2.png"
    assert (tmp_path / "plan.png").read_bytes() == first
    assert left(tmp_path) == ["plan-2.png", "plan.png"]


def test_what_is_shown_is_drawn_afresh(tmp_path: Path) -> None:
    """A file that is a picture and a page of script too loses everything but its pixels."""
    script = b"<script>alert(1)</script> %PDF-1.7"
    both = picture(40, 30) + script
    name = brought(tmp_path, "both.png", both).file
    shown = ground.picture_of(tmp_path, name, 1)
    assert script[:8] not in shown.png
    assert b"PDF" not in shown.png
    assert Image.open(io.BytesIO(shown.png)).size == (40, 30)


def test_a_turned_photo_is_shown_upright(tmp_path: Path) -> None:
    exif = Image.Exif()
    exif[0x0112] = 6  # published: CIPA DC-008: row 0 is at the right; turn a quarter clockwise
    exif[0x010E] = "a note that must not go on"
    data = picture(400, 200, "JPEG", exif=exif)
    name = brought(tmp_path, "photo.jpg", data).file
    assert ground.ground_of(tmp_path, name, 1).size == (200.0, 400.0)
    shown = ground.picture_of(tmp_path, name, 1)
    upright = Image.open(io.BytesIO(shown.png))
    assert upright.size == (200, 400)
    # by hand: turned clockwise, the left half (black) comes to the top
    assert upright.getpixel((100, 50)) < 60
    assert upright.getpixel((100, 350)) > 200
    assert b"must not go on" not in shown.png


def test_a_large_scan_is_shown_small_and_keeps_its_own_pixels(tmp_path: Path) -> None:
    name = brought(tmp_path, "scan.png", picture(9_000, 6_000)).file
    assert ground.ground_of(tmp_path, name, 1).size == (9_000.0, 6_000.0)
    shown = ground.picture_of(tmp_path, name, 1)
    assert Image.open(io.BytesIO(shown.png)).size == (4_096, 2_731)
    assert shown.size == (9_000.0, 6_000.0)


@pytest.mark.parametrize(
    ("rotate", "size"), [(0, (800, 600)), (90, (600, 800)), (180, (800, 600)), (270, (600, 800))]
)
def test_a_turned_page_is_shown_as_its_ends_lie(
    tmp_path: Path, rotate: int, size: tuple[int, int]
) -> None:
    """Picture and ends agree on every page turn: there is ink at each end."""
    name = brought(
        tmp_path, "turned.pdf", pdf("4 w 100 100 m 300 100 l 300 500 l S", rotate=rotate)
    ).file
    found = ground.ground_of(tmp_path, name, 1)
    assert found.size == pytest.approx(size)
    assert found.vector
    shown = ground.picture_of(tmp_path, name, 1)
    image = Image.open(io.BytesIO(shown.png)).convert("L")
    per_pt = image.size[0] / size[0]
    points = ground.lines_of(tmp_path, name, 1).points
    assert len(points) == 3
    for x, y in points:
        spot = (x * per_pt, image.size[1] - y * per_pt)
        box = [round(v) for v in (spot[0] - 4, spot[1] - 4, spot[0] + 4, spot[1] + 4)]
        assert image.crop(box).getextrema()[0] < 80


def test_a_page_that_is_not_there_is_named(tmp_path: Path) -> None:
    name = brought(tmp_path, "plan.pdf", pdf(PLAIN)).file
    with pytest.raises(InputError, match="no page 2"):
        ground.picture_of(tmp_path, name, 2)
    with pytest.raises(NotFound):
        ground.picture_of(tmp_path, "../job.toml", 1)
    with pytest.raises(NotFound):
        ground.ground_of(tmp_path, "other.pdf", 1)


def test_a_page_with_too_many_lines_is_still_traced_over(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    name = brought(tmp_path, "plan.pdf", pdf(PLAIN)).file

    def too_many(*_: object) -> None:
        raise InputError("the page holds too many points.", where=name, do="Save less.")

    monkeypatch.setattr(ground, "read_page", too_many)
    found = ground.ground_of(tmp_path, name, 1)
    assert (found.size, found.vector) == ((800.0, 600.0), False)


def test_a_picture_bomb_inside_a_page_is_refused(tmp_path: Path) -> None:
    form = pdf("q 800 0 0 600 0 0 cm /Im0 Do Q", forms=[("Im0", (1, 0, 0, 1, 0, 0), "", "")])
    image = (
        b"<< /Type /XObject /Subtype /Image /Width 30000 /Height 30000 /ColorSpace /DeviceGray "
        b"/BitsPerComponent 1 /Length 0 >>\nstream\n\nendstream"
    )
    begin = form.index(b"<< /Type /XObject /Subtype /Form")
    end = form.index(b"endstream", begin) + len(b"endstream")
    bomb = form[:begin] + image + form[end:]  # its table of places is off; readers mend that
    name = brought(tmp_path, "bomb.pdf", bomb).file
    with pytest.raises(InputError, match="30000 × 30000"):
        ground.picture_of(tmp_path, name, 1)
