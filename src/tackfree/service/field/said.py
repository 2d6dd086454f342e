"""The sentences that the field page takes along, in every language."""

from __future__ import annotations

from tackfree import words

AREAS = ("field.", "caution.", "step.", "record.kind.")


def field_words() -> dict[str, dict[str, str]]:
    """Language -> id -> sentence, braces unfilled; ids of the field's own area lose it."""
    return {
        language: {
            name.removeprefix("field."): text
            for name, text in words.catalogue(language).items()
            if name.startswith(AREAS)
        }
        for language in words.LANGUAGES
    }
