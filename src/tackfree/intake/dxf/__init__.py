"""Drawings in: entities → strokes → snapped → faces → outlines."""

from tackfree.intake.dxf.read import read_deck
from tackfree.intake.dxf.report import DrawingReport, report_drawing

__all__ = ["DrawingReport", "read_deck", "report_drawing"]
