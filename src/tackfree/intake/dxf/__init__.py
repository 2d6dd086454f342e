"""Drawings in: entities → strokes → snapped → faces → outlines."""

from tackfree.intake.dxf.read import read_deck
from tackfree.intake.dxf.report import report_drawing

__all__ = ["read_deck", "report_drawing"]
