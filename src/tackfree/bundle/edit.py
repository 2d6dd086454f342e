"""Change values of a document's text and leave the rest of it, comments too, as it was."""

from __future__ import annotations

import json
import re
import tomllib
from collections import defaultdict
from collections.abc import Mapping
from typing import Any

# Where a value stands: the table's name ("" for the top), its place in a list of tables
# (None for a single one), and the key.
Place = tuple[str, int | None, str]
WHOLE = ""  # a key that means the table itself

_HEADER = re.compile(r"^\s*(\[\[?)\s*([A-Za-z0-9_-]+)\s*\]\]?\s*(#.*)?$")
_KEY = re.compile(r"^\s*([A-Za-z0-9_-]+)\s*=\s*")


def changed_text(text: str, changes: Mapping[Place, Any]) -> str:
    """The text of a document with some values changed, added, or taken out (None).

    Only flat values of the top, of tables and of lists of tables are changed. A place in
    a list one past its end begins a new table at the end of the text; a place with ``WHOLE``
    for its key and None for its value takes the table out.

    Parameters
    ----------
    text : str
        TOML.
    changes : mapping of Place to value
        Text, whole and real numbers, truth values, flat lists and tables; None takes the
        key out.

    Returns
    -------
    str
        TOML that reads as the document with the changes made.

    Raises
    ------
    ValueError
        If the text is laid out in a way that cannot be changed line by line.

    Examples
    --------
    >>> print(changed_text('a = 1  # why\\n', {("", None, "a"): 2}), end="")
    a = 2  # why
    """
    wanted = _changed(tomllib.loads(text), changes)
    lines = text.splitlines()
    seen: dict[str, int] = defaultdict(int)
    table: tuple[str, int | None] = ("", None)
    ends: dict[tuple[str, int | None], int] = {table: 0}
    gone = {place[:2] for place in changes if place[2] == WHOLE}
    left = {place: value for place, value in changes.items() if place[:2] not in gone}
    out: list[str] = []
    after: list[str] = []  # blanks and comments behind the last value of a table taken out
    for line in lines:
        if head := _HEADER.match(line):
            name = head[2]
            table = (name, seen[name] if head[1] == "[[" else None)
            seen[name] += head[1] == "[["
            out += after
            after = []
            ends[table] = len(out) + 1
        if table in gone:
            after = [*after, line] if not line.strip() or line.lstrip().startswith("#") else []
            continue
        if not head and (key := _KEY.match(line)) and (*table, key[1]) in left:
            value = left.pop((*table, key[1]))
            if value is None:
                continue
            line = key[0] + _said(value) + _comment(line[key.end() :])
            ends[table] = len(out) + 1
        elif not head and line.strip() and not line.lstrip().startswith("#"):
            ends[table] = len(out) + 1
        out.append(line)
    out += after
    new: dict[tuple[str, int | None], list[str]] = defaultdict(list)
    for (name, at, key_name), value in left.items():
        if value is not None:
            new[name, at].append(f"{key_name} = {_said(value)}")
    known = sorted((t for t in new if t in ends), key=lambda t: -ends[t])
    for t in known:
        out[ends[t] : ends[t]] = new[t]
    for t in sorted((t for t in new if t not in ends), key=lambda t: (t[0], t[1] or 0)):
        out += ["", f"[[{t[0]}]]" if t[1] is not None else f"[{t[0]}]", *new[t]]
    made = "\n".join(out) + "\n"
    if _read(made) != wanted:
        raise ValueError("the document is laid out in a way that cannot be changed by line")
    return made


def _read(text: str) -> dict[str, Any] | None:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        return None


def _changed(raw: dict[str, Any], changes: Mapping[Place, Any]) -> dict[str, Any]:
    """The document as read, with the changes made."""
    for (name, at, key), value in changes.items():
        if key == WHOLE:
            continue
        if not name:
            table = raw
        elif at is None:
            table = raw.setdefault(name, {})
        else:
            rows = raw.setdefault(name, [])
            rows += [{} for _ in range(at + 1 - len(rows))]
            table = rows[at]
        if value is None:
            table.pop(key, None)
        else:
            table[key] = value
    whole = [(at, name) for name, at, key in changes if key == WHOLE and at is not None]
    for at, name in sorted(whole, reverse=True):
        del raw[name][at]
        if not raw[name]:
            del raw[name]
    return raw


def _said(value: Any) -> str:
    """A value as TOML; its basic strings take the escapes of JSON."""
    if isinstance(value, list):
        return "[" + ", ".join(map(_said, value)) + "]"
    if isinstance(value, dict):
        inside = ", ".join(f"{_said(k)} = {_said(v)}" for k, v in value.items())
        return f"{{ {inside} }}" if inside else "{}"
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")


def _comment(rest: str) -> str:
    """What stands behind a value, from the blanks before its #."""
    quote = ""
    for i, c in enumerate(rest):
        if quote:
            if c == "\\" and quote == '"':
                continue
            quote = "" if c == quote and rest[i - 1] != "\\" else quote
        elif c in "\"'":
            quote = c
        elif c == "#":
            return rest[len(rest[:i].rstrip()) :]
    return ""
