"""Tackfree: the whole job of a deck-coating contractor, computed and recorded."""

__version__ = "0.1.0"
