"""The walk form: one page to take onto the deck, with room for what the drawing lacks."""

from __future__ import annotations

import json
from dataclasses import dataclass
from importlib import resources

import typst

from tackfree.errors import ToolError
from tackfree.sheets import look
from tackfree.sheets.shift_sheet import printable
from tackfree.words import say

WORDS = (
    "title", "intro", "who", "date", "weather", "zone", "drawn", "measured", "slope",
    "lengths", "cracks",
    "hairline", "fine", "wide", "joints", "upturns", "drains", "penetrations", "terminations",
    "sounding", "moisture", "tendons", "access", "sketch", "caution",
)  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class WalkForm:
    """One deck to walk. Each zone is (id, area as the drawing has it)."""

    job: str
    deck_id: str
    deck_name: str
    zones: tuple[tuple[str, str], ...]
    post_tensioned: str
    length_unit: str
    made_utc_s: int
    languages: tuple[str, ...] = ("en",)
    invented: bool = False


def walk_form_pdf(form: WalkForm) -> bytes:
    """The form as a PDF of one page.

    Raises
    ------
    ToolError
        If the setter warns of anything.
    """
    data = {
        "languages": list(form.languages),
        "look": dict(look.PRINT),
        "words": {
            name: list(dict.fromkeys(say(f"deck.walk.{name}", lang) for lang in form.languages))
            for name in WORDS
        },
        "job": form.job,
        "deck": f"{form.deck_id} {form.deck_name}".strip(),
        "zones": [list(z) for z in form.zones],
        "tendons": list(
            dict.fromkeys(
                say(f"deck.walk.tendons-{form.post_tensioned}", lang) for lang in form.languages
            )
        ),
        "unit": form.length_unit,
        "invented": [say("sheet.invented", lang) for lang in form.languages]
        if form.invented
        else [],
    }
    assets = resources.files("tackfree")
    with (
        resources.as_file(assets / "assets" / "fonts") as fonts,
        resources.as_file(assets / "sheets" / "typst") as templates,
    ):
        pdf, warnings = typst.compile_with_warnings(
            str(templates / "walk.typ"),
            root=str(templates),
            font_paths=[str(fonts)],
            ignore_system_fonts=True,
            sys_inputs={"data": printable(json.dumps(data, ensure_ascii=False))},
            pdf_standards=["a-3a", "ua-1"],
            timestamp=form.made_utc_s,
        )
    if warnings:
        raise ToolError(
            "; ".join(str(w.message) for w in warnings),
            where=f"walk form {form.deck_id}",
            do="Tell whoever keeps the templates: a sheet with a doubt is not printed.",
        )
    return bytes(pdf)
