"""A PDF page and its declaration into a deck in metres."""

from __future__ import annotations

from pathlib import Path

from tackfree.deck.declared import DeckDoc
from tackfree.deck.types import Deck
from tackfree.errors import Fault, Refused
from tackfree.intake.dxf.read import deck_from, scaled
from tackfree.intake.pdf import scale as evidence
from tackfree.intake.pdf.page import read_page
from tackfree.intake.pdf.report import said
from tackfree.words import Message


def read_pdf_deck(path: Path, doc: DeckDoc) -> tuple[Deck, tuple[Message, ...]]:
    """Read one deck from a page. Layers are named as `read_page` says.

    Raises
    ------
    NotFound, InputError
        As `read_page`.
    Refused
        Without a measured length, on a page that is a picture, and with every fault of
        layers, outlines and zones.
    """
    if not doc.calibration:
        raise Refused(
            [
                Fault(
                    where=f"{path.name}, deck {doc.id}",
                    what="a PDF has no unit, and no length on it was measured.",
                    do="Add a calibration: two points of the page and the length between them.",
                )
            ]
        )
    doc, scale = scaled(doc, path.name)
    page = read_page(path, doc.page)
    if page.only_picture:
        raise Refused(
            [
                Fault(
                    where=f"{path.name}, page {doc.page}",
                    what="the page is a picture; it holds no lines.",
                    do="Trace the zones over it: `tackfree serve JOB`, page /trace; or ask for the "
                    "drawing itself.",
                )
            ]
        )
    dimensions = evidence.dimensions_of(page)
    doubts = evidence.doubts(page, dimensions, scale.x_m, file=path.name)
    messages = [*said(page, path.name), *scale.messages, *doubts]
    return deck_from(page.drawn, doc, scale, file=path.name, messages=messages)
