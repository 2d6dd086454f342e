"""Check, save and bring back a traced deck; what stood before stays in the record."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from threading import RLock
from typing import Any

from tackfree.bundle.load import documents
from tackfree.bundle.read import Documents, read
from tackfree.errors import Fault, InputError, NotFound, Refused
from tackfree.record.revisions import Revision, revisions, save_revision
from tackfree.record.store import open_record
from tackfree.service.record import where_of
from tackfree.service.save import write_atomic
from tackfree.service.trace.deckfile import deck_text
from tackfree.service.trace.judge import Verdict, beside, judge
from tackfree.service.trace.refuse import Changed, NotTaken
from tackfree.service.trace.sent import SentDeck, geojson_text, raw_deck
from tackfree.service.trace.state import carried_rows, deck_files, etag, find_deck, state_of

_saving = RLock()  # one save or look at a time in this process


@dataclass(frozen=True, kw_only=True)
class Saved:
    """What a save did: the deck's new state name, its revision, and the takeoff."""

    base: str
    revision: int
    verdict: Verdict


@dataclass(frozen=True, kw_only=True)
class Former:
    """An earlier state of a deck in the record."""

    number: int
    made: str
    person: str
    zones: int
    features: int


@dataclass(frozen=True, kw_only=True)
class _Proposal:
    """A deck's files as the editor wants them; None where a file goes."""

    file: str
    files: Mapping[str, str | None]


def check(root: Path, sent: SentDeck) -> Verdict:
    """What a build would find in the deck as it is in the editor; nothing is written.

    Raises
    ------
    Refused
        Where the shapes sent are none.
    """
    with _saving:  # a save writes two files; nobody looks between them
        proposal = _propose(root, read(root), sent)
        with beside(root, proposal.files) as other:
            return judge(other, proposal.file)


def save(root: Path, sent: SentDeck, *, over: bool = False, person: str = "") -> Saved:
    """Save a deck into the bundle.

    The job's documents as they were, and as they then are, become revisions of the
    record. GeoJSON first, then the document that names its parts; each file whole.

    Parameters
    ----------
    root : Path
        The bundle's folder.
    sent : SentDeck
        ``base`` names the state that the editor opened.
    over : bool
        Save although the deck has changed meanwhile; the newer one stays as a revision.
    person : str
        Who saves, for the record.

    Raises
    ------
    Changed
        If the files are not those the editor opened.
    Refused
        With every fault of the deck; nothing is written.
    """
    with _saving:
        docs = read(root)
        now = _base_of(root, docs, sent.id)
        if now != sent.base and not over:
            raise Changed(sent.id)
        proposal = _propose(root, docs, sent)
        with beside(root, proposal.files) as other:
            verdict = judge(other, proposal.file)
        if verdict.own:
            raise Refused(verdict.own)
        with _revising(root, docs, person) as kept:
            for name, text in sorted(proposal.files.items(), key=lambda f: f[0].endswith(".toml")):
                if text is None:
                    (root / name).unlink(missing_ok=True)
                else:
                    write_atomic(root / name, text)
        base = _base_of(root, read(root), sent.id)
    return Saved(base=base, revision=kept[-1].number, verdict=verdict)


def put_away(root: Path, deck_id: str, base: str, *, person: str = "") -> int:
    """Take a deck out of the job; it stays in the record, and its drawing on disk.

    Returns
    -------
    int
        The revision that still holds it.

    Raises
    ------
    NotFound, Changed
        If there is no such deck, or it has changed since it was opened.
    """
    with _saving:
        docs = read(root)
        deck = find_deck(docs, deck_id)
        if etag(root, deck) != base:
            raise Changed(deck_id)
        with _revising(root, docs, person) as kept:
            (root / deck.file).unlink()
            if deck.geojson and not _named_by_another(docs, deck.file, deck.raw.get("geojson")):
                (root / deck.geojson).unlink(missing_ok=True)
    return kept[0].number


def former(root: Path, deck_id: str) -> tuple[Former, ...]:
    """Earlier states of a deck that differ from the one after, newest first."""
    out: list[Former] = []
    last: tuple[str, str] | None = None
    for revision in _revisions(root):
        with beside(root, _as_of(root, revision)) as other:
            docs = read(other)
            deck = next((d for d in deck_files(docs) if d.id == deck_id), None)
            if deck is None:
                last = None
                continue
            texts = (
                revision.documents.get(deck.file, ""),
                revision.documents.get(deck.geojson or "", ""),
            )
            if texts == last:
                continue
            last = texts
            out.append(
                Former(
                    number=revision.number,
                    made=revision.made,
                    person=revision.person,
                    zones=len(deck.raw.get("zones", ())),
                    features=max(0, texts[1].count('"kind"') - texts[1].count('"kind": "zone"')),
                )
            )
    return tuple(reversed(out))


def former_state(root: Path, deck_id: str, number: int) -> dict[str, Any]:
    """A deck as a revision has it, to look at in the editor and save anew.

    ``base`` is the state on disk now, so that saving it is an ordinary save.

    Raises
    ------
    NotFound
        If there is no such revision or it has no such deck.
    """
    found = next((r for r in _revisions(root) if r.number == number), None)
    if found is None:
        raise NotFound(
            f"the record has no revision {number}.", where="revision", do="Choose one of the list."
        )
    with beside(root, _as_of(root, found)) as other:
        state = state_of(other, deck_id)
    return state | {"base": _base_of(root, read(root), deck_id)}


def _as_of(root: Path, revision: Revision) -> dict[str, str | None]:
    """Deck documents as a revision has them; drawings stay those on disk."""
    texts = {
        k: v
        for k, v in revision.documents.items()
        if k.startswith("decks/") and k.endswith((".toml", ".geojson"))
    }
    here = {
        f"decks/{p.name}"
        for p in (root / "decks").glob("*")
        if p.suffix in (".toml", ".geojson") and p.is_file()
    }
    gone: dict[str, str | None] = dict.fromkeys(here - set(texts))
    return gone | texts


def _revisions(root: Path) -> tuple[Revision, ...]:
    job_id = _job_id(read(root))
    with open_record(where_of(root)) as record:
        return revisions(record, job_id)


@contextmanager
def _revising(root: Path, docs: Documents, person: str) -> Iterator[list[Revision]]:
    """Keep the documents before and after; the list holds both revisions at the end."""
    job_id = _job_id(docs)
    kept: list[Revision] = []
    with open_record(where_of(root)) as record:
        kept.append(save_revision(record, documents(root), job_id=job_id, person=person))
        yield kept
        kept.append(save_revision(record, documents(root), job_id=job_id, person=person))


def _job_id(docs: Documents) -> str:
    job = docs.found.get("job.toml")
    found = job.raw.get("id") if job else None
    if not isinstance(found, str) or not found:
        raise InputError(
            "the job has no id yet, so that nothing can be kept of it.",
            where="job.toml, id",
            do='Write one, such as id = "NEW-JOB".',
        )
    return found


def _base_of(root: Path, docs: Documents, deck_id: str) -> str:
    deck = next((d for d in deck_files(docs) if d.id == deck_id), None)
    return "" if deck is None else etag(root, deck)


def _propose(root: Path, docs: Documents, sent: SentDeck) -> _Proposal:
    deck = next((d for d in deck_files(docs) if d.id == sent.id), None)
    file = deck.file if deck else f"decks/{sent.id}.toml"
    if deck is None and (root / file).exists():
        raise NotTaken("file-taken", where=file, file=file)
    former_raw = dict(deck.raw) if deck else {}
    raw = raw_deck(sent, former_raw)
    if not raw["zones"]:
        raise Refused([Fault(where=file, what="the deck has no zone.", do="Trace one, then save.")])
    text = geojson_text(sent, raw, carried_rows(root, deck) if deck else [])
    before = (root / file).read_text("utf-8") if deck else ""
    files: dict[str, str | None] = {file: deck_text(before, raw)}
    if text is not None:
        named = f"decks/{raw['geojson']}"
        if (deck is None or deck.geojson != named) and (root / named).exists():
            raise NotTaken("file-taken", where=named, file=named)
        files[named] = text
    return _Proposal(file=file, files=files)


def _named_by_another(docs: Documents, file: str, name: object) -> bool:
    return any(d.file != file and d.raw.get("geojson") == name for d in docs.decks)
