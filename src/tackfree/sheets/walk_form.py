"""The walk form: one page to take onto the deck, with room for what the drawing lacks."""

from __future__ import annotations

from dataclasses import dataclass

from tackfree.sheets import look
from tackfree.sheets.typeset import typeset
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
    return typeset("walk", data, made_utc_s=form.made_utc_s, where=f"walk form {form.deck_id}")
