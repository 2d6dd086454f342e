"""Drawings in: entities → strokes → snapped → faces → outlines."""

from tackfree.intake.dxf.read import read_deck

__all__ = ["read_deck"]
