"""The judge of a deck: the same reading and takeoff that a build does, on files not yet saved."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from tackfree.bundle.checks import all_faults
from tackfree.bundle.convert import job_of
from tackfree.bundle.read import Documents, folder_of, read
from tackfree.bundle.types import Job
from tackfree.deck.declared import DeckDoc
from tackfree.deck.takeoff_types import Takeoff
from tackfree.deck.types import Deck
from tackfree.errors import Fault, NotFound, ToolError
from tackfree.intake.picture_view import PDFIUM
from tackfree.service.decks import read_decks, take_off_job
from tackfree.service.trace.refuse import NotTaken
from tackfree.words import Message

CORE = ("products.toml", "buildups.toml", "spec.toml", "price.toml")
NEEDED = ("job.toml", "products.toml", "buildups.toml")


@dataclass(frozen=True, kw_only=True)
class Bench:
    """A job as far as it can be read while one of its decks is worked on.

    ``own`` are the faults of the deck itself, ``elsewhere`` those of the rest; ``job``
    is None where its products or build-ups have faults.
    """

    root: Path
    file: str  # decks/NAME.toml
    job: Job | None
    doc: DeckDoc | None
    own: tuple[Fault, ...]
    elsewhere: tuple[Fault, ...]


@dataclass(frozen=True, kw_only=True)
class Verdict:
    """A deck as a build would read it, and its takeoff; None where faults stand."""

    deck: Deck | None
    takeoff: Takeoff | None
    messages: tuple[Message, ...]
    own: tuple[Fault, ...]
    elsewhere: tuple[Fault, ...]


def root_of(bundle: Path | None) -> Path:
    """The folder of the bundle, to write into.

    Raises
    ------
    NotTaken
        For a zip, or where no bundle was named.
    """
    if bundle is None:
        raise NotTaken("no-bundle", where="serve")
    if not bundle.is_dir():
        if not bundle.exists():
            raise NotFound("there is no such bundle.", where=bundle.name, do="Name a folder.")
        raise NotTaken("zip", where=bundle.name)
    return bundle


def reading_root(bundle: Path | None) -> Path:
    """The folder of the bundle, to read from; a zip is unpacked for it."""
    if bundle is None:
        raise NotTaken("no-bundle", where="serve")
    return folder_of(bundle)


def bench_of(root: Path, file: str) -> Bench:
    """Read a bundle around one deck document, whatever state the rest is in."""
    docs = read(root)
    faults = all_faults(docs)
    own = tuple(f for f in faults if _is_of(f, file))
    elsewhere = tuple(f for f in faults if not _is_of(f, file))
    whole = all(n in docs.found and docs.found[n].model is not None for n in NEEDED)
    job = None
    if whole and not any(f.where.startswith(CORE) for f in elsewhere):
        ours = {
            k: v
            for k, v in docs.found.items()
            if not k.startswith("decks/") or (k == file and not own and v.model is not None)
        }
        job = job_of(Documents(root=root, found=ours))
    doc = job.decks[0] if job and job.decks else None
    return Bench(root=root, file=file, job=job, doc=doc, own=own, elsewhere=elsewhere)


def _is_of(fault: Fault, file: str) -> bool:
    return fault.where == file or fault.where.startswith(f"{file},")


def judge(root: Path, file: str) -> Verdict:
    """Read one deck and take it off, exactly as a build does."""
    bench = bench_of(root, file)
    if bench.job is None or bench.doc is None:
        return Verdict(
            deck=None, takeoff=None, messages=(), own=bench.own, elsewhere=bench.elsewhere
        )
    try:
        with PDFIUM:
            stage = read_decks(replace(bench.job, decks=(bench.doc,)))
        takeoff = take_off_job(bench.job, stage.decks)
    except ToolError as fault:
        return Verdict(
            deck=None, takeoff=None, messages=(), own=fault.faults, elsewhere=bench.elsewhere
        )
    return Verdict(
        deck=stage.decks[0],
        takeoff=takeoff,
        messages=(*stage.messages, *takeoff.messages),
        own=(),
        elsewhere=bench.elsewhere,
    )


@contextmanager
def beside(root: Path, changed: Mapping[str, str | None]) -> Iterator[Path]:
    """The bundle as it would be with some files changed (None: without), in a folder of its
    own; its documents are not touched.

    The folder lies in the bundle's ``.tackfree``, so that large drawings are linked and not
    copied; where that cannot be written, among the system's temporary ones.
    """
    near: Path | None = root / ".tackfree"
    try:
        (root / ".tackfree").mkdir(exist_ok=True)
    except OSError:
        near = None
    with tempfile.TemporaryDirectory(prefix="trace-", dir=near) as temp:
        other = Path(temp)
        for name in ("", "decks", "weather"):
            folder = root / name
            (other / name).mkdir(exist_ok=True)
            for path in folder.iterdir() if folder.is_dir() else ():
                relative = path.relative_to(root).as_posix()
                if path.is_file() and relative not in changed:
                    _same(path, other / relative)
        for relative, text in changed.items():
            if text is not None:
                (other / relative).write_text(text, "utf-8", newline="\n")
        yield other


def _same(path: Path, target: Path) -> None:
    try:
        target.hardlink_to(path)  # a soft link would lead out of the folder
    except OSError:  # another disk, or a system without links
        shutil.copyfile(path, target)


def other_ids(docs: Documents, file: str) -> dict[str, Any]:
    """Ids of decks and zones that other deck documents hold."""
    others = [d for d in docs.decks if d.file != file]
    return {
        "decks": sorted(str(d.raw.get("id", "")) for d in others),
        "zones": sorted(
            str(z.get("id", ""))
            for d in others
            for z in d.raw.get("zones", ())
            if isinstance(z, dict)
        ),
    }
