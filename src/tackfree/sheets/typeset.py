"""Set a page by one of the package's templates: one place for fonts, standards and doubts."""

from __future__ import annotations

import json
from collections.abc import Mapping
from functools import cache
from importlib import resources
from typing import Any

import typst
from fontTools.ttLib import TTFont  # type: ignore[import-untyped]

from tackfree.errors import ToolError


class SheetError(ToolError):
    """A sheet that cannot be set without a doubt."""


def typeset(template: str, data: Mapping[str, Any], *, made_utc_s: int, where: str) -> bytes:
    """A PDF (it claims PDF/A-3a and PDF/UA-1); the same data gives the same bytes.

    Parameters
    ----------
    template : str
        Name of a file of ``sheets/typst`` without its ending.
    data : mapping
        All that the template places, as plain data: never read as markup.
    made_utc_s : int
        The job's own moment, never the clock of the machine. [Unix s]
    where : str
        What is set, for the message of a fault.

    Raises
    ------
    SheetError
        If the setter warns of anything (a missing font, a missing text).
    """
    assets = resources.files("tackfree")
    with (
        resources.as_file(assets / "assets" / "fonts") as fonts,
        resources.as_file(assets / "sheets" / "typst") as templates,
    ):
        pdf, warnings = typst.compile_with_warnings(
            str(templates / f"{template}.typ"),
            root=str(templates),
            font_paths=[str(fonts)],
            ignore_system_fonts=True,
            sys_inputs={"data": printable(json.dumps(data, ensure_ascii=False))},
            pdf_standards=["a-3a", "ua-1"],
            timestamp=made_utc_s,
        )
    if warnings:
        raise SheetError(
            "; ".join(str(w.message) for w in warnings),
            where=where,
            do="Tell whoever keeps the templates: a sheet with a doubt is not printed.",
        )
    return bytes(pdf)


def printable(text: str) -> str:
    """Text with letters the packaged font lacks shown as a question mark.

    The archive standard refuses a letter that cannot be drawn; a name in another
    script must not keep a crew without its sheet.
    """
    known = _letters()
    if set(text) <= known:
        return text
    return "".join(ch if ch in known or ch in "\n\t" else "?" for ch in text)


@cache
def _letters() -> frozenset[str]:
    """Every letter that both weights of the packaged font can draw."""
    found: list[set[int]] = []
    for weight in ("Regular", "Bold"):
        path = resources.files("tackfree") / "assets" / "fonts" / f"B612-{weight}.otf"
        with resources.as_file(path) as file:
            found.append(set(TTFont(file).getBestCmap()))
    return frozenset(map(chr, found[0] & found[1]))
