"""Start, open and check a job bundle."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from importlib import resources
from pathlib import Path

from tackfree.bundle import load as bundles
from tackfree.bundle.types import Job
from tackfree.errors import Fault, InputError, Refused, ToolError
from tackfree.service.decks import read_decks, take_off_job
from tackfree.service.materials import rule_faults, rule_messages
from tackfree.words import Message


def demo_source() -> Path:
    """The demo bundle: in the wheel beside the package, in a checkout under ``demo``."""
    packed = Path(str(resources.files("tackfree"))) / "assets" / "demo" / "job"
    if packed.is_dir():
        return packed
    return Path(__file__).resolve().parents[3] / "demo" / "job"


def new(folder: Path, *, demo: bool = False) -> list[str]:
    """Write a bundle to start from; returns the files written.

    Raises
    ------
    InputError
        If the folder exists and is not empty.
    """
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise InputError(
            "this folder is not empty, and nothing of it is overwritten.",
            where=str(folder),
            do="Name a new or an empty folder.",
        )
    if demo:
        bundles.copy_bundle(demo_source(), folder)
    else:
        bundles.new_job(folder)
    return sorted(str(p.relative_to(folder)) for p in folder.rglob("*") if p.is_file())


def check(path: Path) -> tuple[tuple[Fault, ...], tuple[Message, ...]]:
    """Every fault of a bundle at once, its drawings included, or its notes."""
    faults = bundles.check(path)
    if faults:
        return faults, ()
    job = bundles.load(path)
    refused = rule_faults(job)
    if refused:
        return refused, ()
    try:
        stage = read_decks(job)
        take_off_job(job, stage.decks)
    except ToolError as fault:
        return fault.faults, ()
    return (), (*bundles.notes(job), *rule_messages(job), *_gathered(stage.messages))


def _gathered(said: Iterable[Message]) -> tuple[Message, ...]:
    """One note for each drawing in place of one for each kind of thing not used."""
    counts: Counter[str] = Counter()
    layers: dict[str, set[str]] = {}
    kept = []
    for m in said:
        if m.id != "intake.ignored":
            kept.append(m)
            continue
        file = str(m.values["file"])
        counts[file] += int(str(m.values["count"]))
        layers.setdefault(file, set()).add(str(m.values["layer"]))
    for file, count in sorted(counts.items()):
        values = {"file": file, "count": count, "layers": len(layers[file])}
        kept.append(Message(id="intake.ignored-all", values=values))
    return tuple(kept)


def open_job(path: Path) -> Job:
    """Read a bundle; every fault at once as ``Refused``, build-ups that cannot work too."""
    job = bundles.load(path)
    refused = rule_faults(job)
    if refused:
        raise Refused(refused)
    return job
