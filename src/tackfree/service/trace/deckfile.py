"""``decks/NAME.toml`` written anew with what the editor changed, its comments kept.

A file is cut at its tables: what stands before the first, then each ``[[zones]]``,
``[[features]]`` and ``[[calibration]]`` with the comments above it. Only what changed is
written; where that would not read back as meant, the whole file is written plainly.
"""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Mapping
from typing import Any

TABLE = re.compile(r"^\s*\[\[?\s*([A-Za-z0-9_-]+)\s*(?:\.[^\]]*)?\]\]?\s*(?:#.*)?$")
KEY = re.compile(r"^\s*([A-Za-z0-9_-]+)\s*=")
LISTS = ("calibration", "zones", "features")
Raw = dict[str, Any]


def deck_text(former: str, wanted: Raw) -> str:
    """The text of a deck document that says what is wanted.

    Parameters
    ----------
    former : str
        The file as it is; empty for a new one.
    wanted : dict
        The whole document as the reader of TOML would give it.

    Returns
    -------
    str
        Reads back as ``wanted``, always.
    """
    if former:
        mended = _mended(former, wanted)
        if mended is not None:
            return mended
    return plain_text(wanted)


def _mended(former: str, wanted: Raw) -> str | None:
    """The former text with only what differs written anew; None where that fails."""
    try:
        old = tomllib.loads(former)
        head, blocks = _cut(former)
        text = _head(head, old, wanted)
        kept = {k: [b for n, b in blocks if n == k] for k in LISTS}
        if len(blocks) != sum(map(len, kept.values())):
            return None  # tables of another kind: written plainly
        for name in LISTS:
            had, now = old.get(name, []), wanted.get(name, [])
            if len(kept[name]) != len(had):
                return None
            text += "".join(_block(name, item, had, kept[name]) for item in now)
        return text if tomllib.loads(text) == wanted else None
    except (tomllib.TOMLDecodeError, TypeError, AttributeError):
        return None


def _cut(text: str) -> tuple[list[str], list[tuple[str, list[str]]]]:
    """Lines before the first table, and each item of a list with its comments above."""
    head: list[str] = []
    blocks: list[tuple[str, list[str]]] = []
    above: list[str] = []  # comments and blank lines that may belong to what follows
    here = head
    for line in text.splitlines():
        found = TABLE.match(line)
        if found is None:
            if not line.strip() or line.lstrip().startswith("#"):
                above.append(line)
            else:
                here += [*above, line]
                above = []
            continue
        starts = line.lstrip().startswith("[[") and "." not in line.split("]")[0]
        if starts:
            blocks.append((found[1], [*above, line]))
            here = blocks[-1][1]
        else:
            here += [*above, line]
        above = []
    here += above
    return head, blocks


def _head(lines: list[str], old: Raw, wanted: Raw) -> str:
    """The keys before the first table."""
    before = {k: v for k, v in old.items() if k not in LISTS}
    after = {k: v for k, v in wanted.items() if k not in LISTS}
    return "\n".join(_keys(lines, before, after)).rstrip("\n") + "\n"


def _block(name: str, item: Raw, had: list[Raw], texts: list[list[str]]) -> str:
    """One item of a list: its former text with the changed keys, or new."""
    match = None
    if name == "zones":
        match = next((i for i, o in enumerate(had) if o.get("id") == item.get("id")), None)
    else:
        match = next((i for i, o in enumerate(had) if o == item), None)
    if match is None:
        lines = ["", f"[[{name}]]", *(f"{k} = {value_text(v)}" for k, v in item.items())]
    else:
        lines = _keys(texts[match], had[match], item)
    text = "\n".join(lines).strip("\n")
    return f"\n{text}\n"


def _keys(lines: list[str], before: Raw, after: Raw) -> list[str]:
    """Lines with keys changed, taken out, and added at the end of the plain keys."""
    out: list[str] = []
    for line in lines:
        found = KEY.match(line)
        key = found[1] if found else None
        if key is None or key not in before or before.get(key) == after.get(key):
            out.append(line)
        elif key in after:
            out.append(f"{key} = {value_text(after[key])}")
    new = [f"{k} = {value_text(v)}" for k, v in after.items() if k not in before]
    if not new:
        return out
    last = max((i for i, x in enumerate(out) if KEY.match(x) or TABLE.match(x)), default=-1)
    return [*out[: last + 1], *new, *out[last + 1 :]]


def plain_text(wanted: Raw) -> str:
    """A whole document, in order, without comments."""
    lines = [f"{k} = {value_text(v)}" for k, v in wanted.items() if k not in LISTS]
    for name in LISTS:
        for item in wanted.get(name, ()):
            lines += ["", f"[[{name}]]", *(f"{k} = {value_text(v)}" for k, v in item.items())]
    return "\n".join(lines) + "\n"


def value_text(value: Any) -> str:
    """A value as TOML writes it, on one line."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, (int, float)):
        return repr(value)
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{_key(k)} = {value_text(v)}" for k, v in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(map(value_text, value)) + "]"
    return str(value)  # dates, which a deck does not hold


def _key(name: str) -> str:
    return name if re.fullmatch(r"[A-Za-z0-9_-]+", name) else json.dumps(name)
