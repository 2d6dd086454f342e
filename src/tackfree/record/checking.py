"""Whether an entry can be right in itself: every fault at once, before the database is asked."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from typing import Any
from zoneinfo import ZoneInfo

from tackfree.errors import InputError
from tackfree.record.canonical import canonical_known, is_ulid, quoted, sha256
from tackfree.record.kinds import Doubt, doubts_of

FIELDS = (
    "id", "job", "device", "seq", "person", "wall", "zone", "kind", "v", "body", "previous",
)  # fmt: skip
TEXTS = ("job", "device", "person", "wall", "zone", "kind")
_KEYS = frozenset(FIELDS)
LONGEST = 200  # characters of a text of the envelope
LARGEST = 64_000  # characters of a body in canonical form


@dataclass(frozen=True, kw_only=True)
class Checked:
    """An entry as sent, with its faults, or with its hash and the text of its body."""

    sent: Any
    doubts: tuple[Doubt, ...]
    sha: str = ""
    body: str = ""


@dataclass(frozen=True, kw_only=True)
class Sender:
    """Who sends over the network: entries of another device or person are held."""

    device: str | None
    person: str
    not_kinds: frozenset[str] = frozenset()


def checked(sent: Any, sender: Sender | None = None) -> Checked:
    """Look at one entry as a device sends it."""
    if not isinstance(sent, Mapping):
        return Checked(sent=sent, doubts=(Doubt(where="entry", id="entry-table"),))
    doubts = [*_envelope(sent), *_sent_by(sent, sender)]
    if "kind" in sent and "v" in sent and "body" in sent:
        doubts += doubts_of(sent["kind"], sent["v"], sent["body"])
    if doubts:
        return Checked(sent=sent, doubts=tuple(doubts))
    try:
        body = canonical_known(sent["body"])  # its model knows every key
        whole = envelope(sent, body)
        sha = sha256(whole)
    except (InputError, UnicodeEncodeError):
        return Checked(sent=sent, doubts=(Doubt(where="body", id="half"),))
    if "\\u0000" in whole:
        return Checked(sent=sent, doubts=(Doubt(where="body", id="zero"),))
    if len(body) > LARGEST:
        return Checked(sent=sent, doubts=(Doubt(where="body", id="too-large"),))
    return Checked(sent=sent, doubts=(), sha=sha, body=body)


def envelope(sent: Mapping[str, Any], body: str) -> str:
    """An entry in canonical form, given its body in that form; its other fields are whole.

    Its keys are known and in order, and all but two values are texts. A text may hold
    half a character; there is no hash of that.
    """
    return (
        f'{{"body":{body},"device":{quoted(sent["device"])},"id":{quoted(sent["id"])},'
        f'"job":{quoted(sent["job"])},"kind":{quoted(sent["kind"])},'
        f'"person":{quoted(sent["person"])},"previous":{quoted(sent["previous"])},'
        f'"seq":{sent["seq"]},"v":{sent["v"]},'
        f'"wall":{quoted(sent["wall"])},"zone":{quoted(sent["zone"])}}}'
    )


def _envelope(sent: Mapping[str, Any]) -> list[Doubt]:
    if _is_whole(sent):
        return _time(sent["wall"], sent["zone"])
    found = []
    if sent.keys() != _KEYS:
        odd = sorted(set(sent) ^ _KEYS, key=str)
        names = ", ".join(str(n)[:40] for n in odd[:20])
        found.append(Doubt(where="entry", id="keys", values={"keys": names}))
    for name in TEXTS:
        value = sent.get(name)
        if name in sent and not (isinstance(value, str) and 0 < len(value) <= LONGEST):
            found.append(Doubt(where=name, id="text"))
        elif isinstance(value, str) and "\0" in value:
            found.append(Doubt(where=name, id="zero"))
    if "previous" in sent and not isinstance(sent["previous"], str):
        found.append(Doubt(where="previous", id="text"))
    if "id" in sent and not is_ulid(sent["id"]):
        found.append(Doubt(where="id", id="ulid"))
    for name in ("seq", "v"):
        number = sent.get(name)
        if name in sent and (type(number) is not int or not 1 <= number < 2**31):
            found.append(Doubt(where=name, id="whole-number"))
    if isinstance(sent.get("wall"), str) and isinstance(sent.get("zone"), str):
        found += _time(sent["wall"], sent["zone"])
    return found


def _is_whole(sent: Mapping[str, Any]) -> bool:
    """Whether all of the envelope but its time is right; a quick look, for most entries."""
    if sent.keys() != _KEYS:
        return False
    for name in TEXTS:
        value = sent[name]
        if type(value) is not str or not 0 < len(value) <= LONGEST or "\0" in value:
            return False
    seq, v = sent["seq"], sent["v"]
    return (
        type(seq) is int
        and type(v) is int
        and 1 <= seq < 2**31
        and 1 <= v < 2**31
        and type(sent["previous"]) is str
        and is_ulid(sent["id"])
    )


def _time(wall: str, zone: str) -> list[Doubt]:
    try:
        moment = datetime.fromisoformat(wall)
    except ValueError:
        return [Doubt(where="wall", id="wall")]
    if moment.tzinfo is None:
        return [Doubt(where="wall", id="offset")]
    there = _zone(zone)
    if there is None:
        return [Doubt(where="zone", id="zone", values={"zone": zone[:60]})]
    try:
        same = moment.astimezone(there).utcoffset() == moment.utcoffset()
    except OverflowError:
        return [Doubt(where="wall", id="wall")]
    return [] if same else [Doubt(where="wall", id="zone-offset", values={"zone": zone[:60]})]


@lru_cache(maxsize=256)
def _zone(name: str) -> ZoneInfo | None:
    try:
        return ZoneInfo(name)
    except (KeyError, ValueError, OSError):
        return None


def _sent_by(sent: Mapping[str, Any], sender: Sender | None) -> list[Doubt]:
    if sender is None:
        return []
    found = []
    if sender.device is not None and sent.get("device") != sender.device:
        found.append(Doubt(where="device", id="device", values={"device": sender.device}))
    if sent.get("person") != sender.person:
        found.append(Doubt(where="person", id="person", values={"person": sender.person}))
    kind = sent.get("kind")
    if isinstance(kind, str) and kind in sender.not_kinds:
        found.append(Doubt(where="kind", id="role", values={"kind": kind}))
    return found
