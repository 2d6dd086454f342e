"""One spelling for each JSON value, so that a phone and a server hash the same bytes."""

from __future__ import annotations

import hashlib
import json
import math
import re
from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from tackfree.errors import InputError

SAFE_INTEGER = 2**53 - 1
CROCKFORD = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"


def canonical(value: Any) -> str:
    """JSON text in canonical form.

    Keys are sorted by their UTF-16 code units, nothing is padded, numbers are
    written as a browser writes them.

    Raises
    ------
    InputError
        If the value is not JSON: not finite, beyond 2^53, or of another type.

    Source
    ------
    published: RFC 8785, JSON Canonicalization Scheme, sections 3.2.2 and 3.2.3.

    Examples
    --------
    >>> print(canonical({"b": [1.0, 1e-7], "a": "é"}))
    {"a":"é","b":[1,1e-7]}
    """
    try:
        text = _written(_plain(value))
    except _OddError:
        return spelled(value)
    try:
        text.encode("utf-8")
    except UnicodeEncodeError as error:
        raise InputError("a text holds half a character (a lone surrogate).") from error
    return text


_written = json.JSONEncoder(ensure_ascii=False, sort_keys=True, separators=(",", ":")).encode
quoted = json.encoder.encode_basestring  # a text with its marks and escapes


def canonical_known(value: Mapping[str, Any]) -> str:
    """:func:`canonical` of a table of JSON whose keys are known and need no escape; quicker.

    A text may hold half a character; there is no hash of that.
    """
    parts = []
    for key in sorted(value):
        one = value[key]
        kind = type(one)
        if kind is str:
            text = quoted(one)
        elif kind is int and -SAFE_INTEGER <= one <= SAFE_INTEGER:
            text = str(one)
        elif kind is float and 1e-4 <= abs(one) < 1e16 and not one.is_integer():
            text = repr(one)
        else:
            text = canonical(one)
        parts.append(f'"{key}":{text}')
    return "{" + ",".join(parts) + "}"


class _OddError(Exception):
    """A value that the standard library spells otherwise."""


def _plain(value: Any) -> Any:
    """A copy that the standard library spells in canonical form, or ``_OddError``.

    Its encoder is ten times as quick as :func:`spelled`, and differs for numbers with
    an exponent, for whole numbers written as floats, and for keys beyond ASCII.
    """
    kind = type(value)
    if value is None or kind is str or kind is bool:
        return value
    if kind is int and -SAFE_INTEGER <= value <= SAFE_INTEGER:
        return value
    if kind is float and abs(value) <= SAFE_INTEGER and value.is_integer():
        return int(value)
    if kind is float and 1e-4 <= abs(value) <= SAFE_INTEGER:
        return value
    if kind is dict and all(type(k) is str and k.isascii() for k in value):
        return {k: _plain(v) for k, v in value.items()}
    if kind is list or kind is tuple:
        return [_plain(v) for v in value]
    raise _OddError


def spelled(value: Any) -> str:
    """:func:`canonical` rule by rule, for the values that need it and as its reference."""
    if value is None or isinstance(value, bool):
        return json.dumps(value)
    if isinstance(value, str):
        try:
            value.encode("utf-8")
        except UnicodeEncodeError as error:
            raise InputError("a text holds half a character (a lone surrogate).") from error
        return json.dumps(value, ensure_ascii=False)
    if isinstance(value, int):
        if abs(value) > SAFE_INTEGER:
            raise InputError(f"{value} is beyond 2^53; a browser cannot hold it exactly.")
        return str(value)
    if isinstance(value, float):
        return number(value)
    if isinstance(value, Mapping):
        if not all(isinstance(k, str) for k in value):
            raise InputError("a JSON object has texts as keys.")
        keys = sorted(value, key=lambda k: k.encode("utf-16-be", "surrogatepass"))
        return "{" + ",".join(f"{spelled(k)}:{spelled(value[k])}" for k in keys) + "}"
    if isinstance(value, list | tuple):
        return "[" + ",".join(map(spelled, value)) + "]"
    raise InputError(f"{type(value).__name__} is not a JSON type.")


def number(value: float) -> str:
    """A number as ECMAScript writes it: shortest digits, exponent outside 1e-7 to 1e21."""
    if not math.isfinite(value):
        raise InputError(f"{value} is not a number in JSON.")
    if value == 0:
        return "0"
    sign = "-" if value < 0 else ""
    # repr gives the shortest digits that read back the same; only the layout differs.
    _, digit_tuple, exponent = Decimal(repr(abs(value))).normalize().as_tuple()
    digits = "".join(map(str, digit_tuple))
    point = len(digits) + int(exponent)  # digits stand before the point at this place
    if 0 < point <= 21:
        whole = digits.ljust(point, "0")
        text = whole[:point] + ("." + whole[point:] if len(whole) > point else "")
    elif -6 < point <= 0:
        text = "0." + "0" * -point + digits
    else:
        power = point - 1
        text = digits[0] + ("." + digits[1:] if len(digits) > 1 else "")
        text += f"e{'+' if power > 0 else '-'}{abs(power)}"
    return sign + text


def sha256(text: str) -> str:
    """Hash of a text as UTF-8, in hexadecimal."""
    return hashlib.sha256(text.encode("utf-8")).hexdigest()


def seal_of(*texts: str) -> str:
    """Hash over texts that belong together, none of which can move into the next."""
    return sha256(f"[{','.join(map(quoted, texts))}]")


def ulid(*, time_ms: int, randomness: bytes) -> str:
    """An id that sorts by time: 48 bits of milliseconds, 80 bits of randomness.

    Examples
    --------
    >>> print(ulid(time_ms=0, randomness=bytes(10)))
    00000000000000000000000000
    """
    if len(randomness) != 10 or not 0 <= time_ms < 2**48:
        raise InputError("a ULID takes 48 bits of time and 10 random bytes.")
    value = (time_ms << 80) | int.from_bytes(randomness, "big")
    return "".join(CROCKFORD[(value >> shift) & 31] for shift in range(125, -1, -5))


def is_ulid(text: Any) -> bool:
    """True for 26 characters of Crockford's base 32 that fit 128 bits."""
    return isinstance(text, str) and _ULID.fullmatch(text) is not None


_ULID = re.compile(f"[0-7][{CROCKFORD}]{{25}}")
