"""Pictures and PDF pages as pictures to trace over: upright, bounded, made anew.

What a browser gets is always drawn afresh from the pixels: nothing else that a file
carries (a second format in one file, scripts, notes, places) goes with it.
"""

from __future__ import annotations

import ctypes
import io
import threading
import warnings
from dataclasses import dataclass
from pathlib import Path

import pypdfium2 as pdfium
import pypdfium2.raw as raw
from PIL import Image, ImageOps, UnidentifiedImageError

from tackfree.errors import InputError, NotFound
from tackfree.intake.pdf.packed import look_inside
from tackfree.intake.picture import picture_size

MOST_MEGAPIXELS = 80  # unpacked at once, about 320 MB
SHOWN_PX = 4_096  # longer side of what is shown
DEEPEST = 16  # form in form in form
ORIENTATION = 0x0112  # Exif; published: CIPA DC-008, tag Orientation
QUARTER = (5, 6, 7, 8)  # its values that turn by a quarter
TORN = (UnidentifiedImageError, OSError, ValueError, SyntaxError)
PDFIUM = threading.RLock()  # the PDF library serves one caller at a time


@dataclass(frozen=True, kw_only=True)
class Shown:
    """A picture to trace over, and its size in drawing units (pixels, or points)."""

    png: bytes
    size: tuple[float, float]
    pages: int = 1


def upright_size(path: Path) -> tuple[int, int]:
    """Width and height of a picture as it is meant to be seen. [px]

    Only the header is read; a photo says in it how the camera was held.

    Raises
    ------
    NotFound, InputError
        As `picture_size`, and where more than `MOST_MEGAPIXELS` would be unpacked.
    """
    wide, high = picture_size(path)
    if wide * high > MOST_MEGAPIXELS * 1_000_000:
        raise InputError(
            f"the picture has {wide * high / 1e6:.0f} million pixels; at most "
            f"{MOST_MEGAPIXELS} million are unpacked.",
            where=path.name,
            do="Scan it at a lower resolution, 200 dots per inch are plenty.",
        )
    try:
        with warnings.catch_warnings(), Image.open(path) as picture:
            warnings.simplefilter("ignore")
            turned = picture.format == "JPEG" and picture.getexif().get(ORIENTATION, 1) in QUARTER
    except TORN as fault:
        raise _torn(path) from fault
    return (high, wide) if turned else (wide, high)


def picture_png(path: Path, *, most_px: int = SHOWN_PX) -> Shown:
    """A picture, turned upright and made no larger than can be shown.

    ``size`` stays that of the whole picture, so that a point picked on the small one
    keeps its place.

    Raises
    ------
    NotFound, InputError
        As `upright_size`, and for a file that is torn.
    """
    size = upright_size(path)
    try:
        with warnings.catch_warnings(), Image.open(path) as picture:
            warnings.simplefilter("ignore")
            picture.draft(None, (most_px, most_px))  # a JPEG is unpacked small at once
            turns = picture.format == "JPEG"  # only a camera says how it was held
            upright = ImageOps.exif_transpose(picture) if turns else picture
            plain = upright.convert("L" if upright.mode in ("1", "L", "I;16") else "RGB")
            plain.thumbnail((most_px, most_px), Image.Resampling.BOX)
    except TORN as fault:
        raise _torn(path) from fault
    return Shown(png=_png(plain), size=(float(size[0]), float(size[1])))


def _torn(path: Path) -> InputError:
    return InputError(
        "the picture is torn: it cannot be read to its end.",
        where=path.name,
        do="Save or send it again.",
    )


def page_png(path: Path, number: int = 1, *, most_px: int = SHOWN_PX) -> Shown:
    """One PDF page as shown: its turn and crop box taken in.

    ``size`` is in points. Callers hold `PDFIUM`.

    Raises
    ------
    NotFound, InputError
        If there is no such file or page, it is no PDF, it is locked by a password, or
        a picture on it is too large to unpack.
    """
    document = open_pdf(path)
    try:
        pages = len(document)
        if not 1 <= number <= pages:
            raise InputError(
                f"there is no page {number}; the file has {pages}.",
                where=path.name,
                do=f"Name a page from 1 to {pages}.",
            )
        page = document[number - 1]
        try:
            for i in range(raw.FPDFPage_CountObjects(page.raw)):
                _check_picture(raw.FPDFPage_GetObject(page.raw, i), path.name, 0)
            wide, high = page.get_size()
            if not (wide > 0 and high > 0):
                raise InputError(
                    "the page has no size.", where=path.name, do="Print the drawing to PDF again."
                )
            drawn = page.render(scale=most_px / max(wide, high)).to_pil().convert("RGB")
        finally:
            page.close()
    except pdfium.PdfiumError as fault:
        raise InputError(
            f"page {number} cannot be drawn.",
            where=path.name,
            do="Print the drawing to PDF again.",
        ) from fault
    finally:
        document.close()
    return Shown(png=_png(drawn), size=(float(wide), float(high)), pages=pages)


def page_count(path: Path) -> int:
    """Pages of a PDF. Callers hold `PDFIUM`. Raises as `page_png`."""
    document = open_pdf(path)
    try:
        return len(document)
    finally:
        document.close()


def open_pdf(path: Path) -> pdfium.PdfDocument:
    """A PDF, to be closed by the caller."""
    if not path.is_file():
        raise NotFound(
            "there is no such drawing.",
            where=path.name,
            do="Bring the PDF again.",
        )
    look_inside(path.read_bytes(), file=path.name)
    try:
        return pdfium.PdfDocument(path)
    except pdfium.PdfiumError as fault:
        if raw.FPDF_GetLastError() == raw.FPDF_ERR_PASSWORD or "password" in str(fault).lower():
            raise InputError(
                "the PDF is locked by a password.",
                where=path.name,
                do="Ask its author for an unlocked copy.",
            ) from fault
        raise InputError(
            "this is not a PDF, or it is damaged beyond reading.",
            where=path.name,
            do="Print the drawing to PDF again.",
        ) from fault


def _check_picture(thing: raw.FPDF_PAGEOBJECT, file: str, depth: int) -> None:
    """Refuse a picture on a page that would unpack to too much; its header tells."""
    kind = raw.FPDFPageObj_GetType(thing)
    if kind == raw.FPDF_PAGEOBJ_FORM and depth < DEEPEST:
        for i in range(raw.FPDFFormObj_CountObjects(thing)):
            _check_picture(raw.FPDFFormObj_GetObject(thing, i), file, depth + 1)
    if kind != raw.FPDF_PAGEOBJ_IMAGE:
        return
    wide, high = ctypes.c_uint(), ctypes.c_uint()
    if not raw.FPDFImageObj_GetImagePixelSize(thing, wide, high):
        return
    if wide.value * high.value > MOST_MEGAPIXELS * 1_000_000:
        raise InputError(
            f"a picture on the page is {wide.value} × {high.value} pixels; at most "
            f"{MOST_MEGAPIXELS} million are unpacked.",
            where=file,
            do="Scan it at a lower resolution, 200 dots per inch are plenty.",
        )


def _png(picture: Image.Image) -> bytes:
    out = io.BytesIO()
    picture.save(out, "PNG", compress_level=3)
    return out.getvalue()
