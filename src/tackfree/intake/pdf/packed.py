"""What is packed inside a PDF, unpacked piece by piece and never kept: is it a bomb, and
does it enlarge its points?

A packed stream holds at most a thousand times its own size, and one packed twice a
million times. The library that reads the pages unpacks a stream whole, so that its size
is found out first, in little memory.
"""

from __future__ import annotations

import math
import re
import zlib
from dataclasses import dataclass

from tackfree.errors import InputError

MOST_UNPACKED = 400_000_000  # bytes of all streams together
PIECE = 1 << 18
_STREAM = re.compile(rb"stream\r?\n")
_USER_UNIT = re.compile(rb"/UserUnit\s+(\d+(?:\.\d+)?)")
_LAYERS = b"/OCG"
_HEAD = 1024  # bytes before a stream in which its own description stands
_TWICE = re.compile(rb"/(?:FlateDecode|Fl)\s+/(?:FlateDecode|Fl)\b")
_OBJECTS = re.compile(rb"/Type\s*/ObjStm\b")


@dataclass(frozen=True, kw_only=True)
class Unpacked:
    """``user_unit`` is the 1/72 inches of one point, 1 where the file names none or
    several; ``layers`` tells whether it has optional content."""

    user_unit: float
    layers: bool


def look_inside(content: bytes, *, file: str) -> Unpacked:
    """Look through a whole PDF file, its packed object streams included.

    Raises
    ------
    InputError
        If it would unpack to more than `MOST_UNPACKED`, or a stream is packed twice.

    Source
    ------
    UserUnit, object streams, optional content: ISO 32000-2, 7.5.7, 7.7.3.3, 8.11.
    """
    units = {float(v) for v in _USER_UNIT.findall(content)}
    layers = _LAYERS in content
    total = 0
    for begin in _STREAM.finditer(content):
        head = content[max(0, begin.start() - _HEAD) : begin.start()]
        head = head[head.rfind(b" obj") + 1 :]
        if _TWICE.search(head):
            raise _bomb(file, "a stream in it is packed twice")
        objects = bool(_OBJECTS.search(head))
        unpacker, at, text = zlib.decompressobj(), begin.end(), b""
        piece = content[at : at + PIECE]
        try:
            while piece and not unpacker.eof:
                found = unpacker.decompress(piece, PIECE)
                total += len(found)
                if total > MOST_UNPACKED:
                    raise _bomb(file, f"it unpacks to more than {MOST_UNPACKED // 1_000_000} MB")
                if objects:
                    text += found
                piece = unpacker.unconsumed_tail
                if not piece:
                    at += PIECE
                    piece = content[at : at + PIECE]
        except zlib.error:
            pass  # not packed this way, or torn: the reader of pages says so
        units |= {float(v) for v in _USER_UNIT.findall(text)}
        layers = layers or _LAYERS in text
    value = units.pop() if len(units) == 1 else 1.0
    return Unpacked(user_unit=value if math.isfinite(value) and value > 0 else 1.0, layers=layers)


def _bomb(file: str, why: str) -> InputError:
    return InputError(
        f"{why}; it was not opened.",
        where=file,
        do="Print the page of the deck to a PDF of its own.",
    )
