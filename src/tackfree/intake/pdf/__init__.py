"""Vector PDF pages in: path objects → strokes on layers of one width and colour."""

from tackfree.intake.pdf.page import Page, read_page
from tackfree.intake.pdf.read import read_pdf_deck
from tackfree.intake.pdf.report import report_page

__all__ = ["Page", "read_page", "read_pdf_deck", "report_page"]
