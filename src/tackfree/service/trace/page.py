"""The tracing page before the editor opens: decks, what stands in the way, what to bring."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from tackfree import words
from tackfree.bundle.checks import all_faults
from tackfree.bundle.read import read
from tackfree.errors import Fault, NotFound, ToolError
from tackfree.service.trace.judge import reading_root
from tackfree.service.trace.refuse import NotTaken
from tackfree.service.trace.state import deck_files

# Kinds in the order of the strip, with the letter that chooses each on the board.
KINDS = {
    "zone": "z", "column": "c", "opening": "o", "crack": "k", "joint": "j", "upturn": "u",
    "termination": "t", "drain": "d", "penetration": "p", "stop-line": "l", "stall": "s",
}  # fmt: skip
CAUTIONS = ("sheet-first", "edges", "silica", "traffic")
MOST_FAULTS = 30


@dataclass(frozen=True, kw_only=True)
class DeckName:
    id: str
    name: str


@dataclass(frozen=True, kw_only=True)
class Kind:
    id: str
    key: str
    name: str


@dataclass(frozen=True, kw_only=True)
class TracePage:
    """What the template shows; ``open`` is the deck in the editor, "" for none."""

    open: str
    is_new: bool
    drawing: str
    page: int
    decks: tuple[DeckName, ...]
    kinds: tuple[Kind, ...]
    free_id: str
    faults: tuple[Fault, ...]
    refused: tuple[Fault, ...]
    cautions: tuple[str, ...]
    bundle: str
    job_id: str
    job_name: str
    units: str


@dataclass(frozen=True, kw_only=True)
class Wanted:
    """What the address asks for."""

    deck: str = ""
    new: bool = False
    begin: bool = False
    drawing: str = ""
    page: int = 1


def trace_page(bundle: Path | None, wanted: Wanted, language: str) -> TracePage:
    """The page, for a job in any state.

    Raises
    ------
    NotFound
        If a deck is asked for that the job does not have.
    """
    refused: tuple[Fault, ...] = ()
    faults: tuple[Fault, ...] = ()
    decks: tuple[DeckName, ...] = ()
    job: dict[str, object] = {}
    tendons = True
    try:
        docs = read(reading_root(bundle))
    except NotTaken as fault:
        refused = fault.faults_in(language)
    except ToolError as fault:
        refused = fault.faults
    else:
        faults = all_faults(docs)[:MOST_FAULTS]
        decks = tuple(DeckName(id=d.id, name=d.name) for d in deck_files(docs))
        found = docs.found.get("job.toml")
        job = dict(found.raw) if found else {}
        tendons = any(d.raw.get("post_tensioned") != "no" for d in deck_files(docs))
    ids = [d.id for d in decks]
    open_deck = wanted.deck or ("" if wanted.begin or not ids else ids[0])
    is_new = bool(wanted.new and open_deck and open_deck not in ids)
    if open_deck and open_deck not in ids and not is_new:
        raise NotFound(
            f"the job has no deck {open_deck!r}.",
            where="deck",
            do=f"Choose one of {', '.join(ids)}." if ids else "Begin one: bring a drawing.",
        )
    return TracePage(
        open="" if refused else open_deck,
        is_new=is_new,
        drawing=wanted.drawing if is_new else "",
        page=wanted.page,
        decks=decks,
        kinds=tuple(
            Kind(id=k, key=key, name=words.say(f"trace.kind.{k}", language))
            for k, key in KINDS.items()
        ),
        free_id=next(f"D{n}" for n in range(1, 1000) if f"D{n}" not in ids),
        faults=faults,
        refused=refused,
        cautions=tuple(
            words.say(f"caution.{c}", language)
            for c in (("tendons", *CAUTIONS) if tendons else CAUTIONS)
        ),
        bundle=bundle.as_posix() if bundle else "BUNDLE",
        job_id=str(job.get("id", "")),
        job_name=str(job.get("name", "")),
        units="si" if job.get("units") == "si" else "us",
    )
