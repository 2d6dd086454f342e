"""A look at one PDF page: layers by width and colour, and what they enclose."""

from __future__ import annotations

from pathlib import Path

from tackfree.intake.parts import parts_of, size_of
from tackfree.intake.pdf import scale
from tackfree.intake.pdf.page import Page, read_page
from tackfree.intake.report import DrawingReport, layers_of, proposal
from tackfree.words import Message


def report_page(path: Path, number: int = 1, *, scale_m: float | None = None) -> DrawingReport:
    """Look at a page. Areas are in square points; a page has no unit.

    Parameters
    ----------
    path : Path
    number : int
        1 for the first page.
    scale_m : float or None
        Metres for one point, as measured; what is written on the page is held against it.

    Raises
    ------
    NotFound, InputError
        As `read_page`.
    """
    page = read_page(path, number)
    layers = layers_of(page.drawn)
    dimensions = scale.dimensions_of(page)
    units = scale.guesses(page, dimensions, file=path.name)
    against = () if scale_m is None else scale.doubts(page, dimensions, scale_m, file=path.name)
    return DrawingReport(
        file=path.name,
        kind="pdf",
        pages=page.pages,
        layers=layers,
        size=size_of(page.drawn),
        units=units,
        messages=(*said(page, path.name), *against),
        parts=parts_of(page.drawn),
        proposed=proposal(units),
    )


def said(page: Page, file: str) -> tuple[Message, ...]:
    """What the page holds that is not read as lines."""
    out = []
    if page.only_picture:
        out.append(Message(id="intake.only-picture", values={"file": file}))
    elif page.images:
        out.append(Message(id="intake.pictures", values={"file": file, "count": page.images}))
    if page.drawn.too_deep:
        out.append(
            Message(id="intake.too-deep", values={"file": file, "count": page.drawn.too_deep})
        )
    return tuple(out)
