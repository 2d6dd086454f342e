"""Load a job bundle, or say everything that is wrong with it."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from pathlib import Path

from tackfree.bundle.checks import all_faults, check
from tackfree.bundle.convert import job_of
from tackfree.bundle.new import copy_bundle, new_job
from tackfree.bundle.read import folder_of, read
from tackfree.bundle.types import Job
from tackfree.deck.types import PostTensioned
from tackfree.errors import Refused
from tackfree.words import Message

__all__ = ["check", "copy_bundle", "documents", "load", "new_job", "notes"]


def load(path: Path) -> Job:
    """The job of a bundle, folder or zip.

    A zip is unpacked into a folder that lives until the process ends; use
    :func:`tackfree.bundle.read.unpacked` to choose for how long.

    Raises
    ------
    Refused
        With every fault of every document.
    NotFound, InputError
        If there is nothing at the path, or no zip that is safe to unpack.
    """
    docs = read(folder_of(path))
    faults = all_faults(docs)
    if faults:
        raise Refused(faults)
    return job_of(docs)


def notes(job: Job) -> tuple[Message, ...]:
    """What a reader should know of a job that is in order: defaults, gaps, cautions."""
    return (*_deck_notes(job), *_product_notes(job), *_build_up_notes(job))


def _deck_notes(job: Job) -> Iterator[Message]:
    for deck in job.decks:
        if deck.post_tensioned != PostTensioned.NO:
            name = "tendons" if deck.post_tensioned == PostTensioned.YES else "tendons_unknown"
            yield Message(id=f"bundle.note.{name}", values={"deck": deck.id})
    if job.weather.kind == "typical-year":
        values = {"file": job.weather.file.name, "starts_on": job.starts_on.isoformat()}
        yield Message(id="bundle.note.typical_year", values=values)


def _product_notes(job: Job) -> Iterator[Message]:
    for product in job.products.values():
        if product.kit is None:
            continue
        ours = [
            key.rsplit(".", 1)[1]
            for key, origin in job.came_from.items()
            if key.startswith(f"products.{product.id}.limits.") and origin == "default"
        ]
        if ours:
            values = {"product": product.id, "limits": ", ".join(ours)}
            yield Message(id="bundle.note.default_limits", values=values)
        if f"products.{product.id}.limits.wind_max_m_s" not in job.came_from:
            yield Message(id="bundle.note.no_wind_limit", values={"product": product.id})
        if product.recoat_before_h is None:
            yield Message(id="bundle.note.no_recoat_before", values={"product": product.id})
        if not product.pot_life:
            yield Message(id="bundle.note.no_pot_life", values={"product": product.id})


def _build_up_notes(job: Job) -> Iterator[Message]:
    for build_up in job.build_ups.values():
        at = f"build_ups.{build_up.id}"
        for coat in build_up.coats:
            if job.came_from[f"{at}.coats.{coat.id}.wft_um"] == "coverage":
                values = {"build_up": build_up.id, "coat": coat.id, "wft_um": round(coat.wft_um)}
                yield Message(id="bundle.note.film_by_coverage", values=values)
        ours = [
            key.removeprefix(f"{at}.")
            for key, origin in job.came_from.items()
            if key.startswith(f"{at}.") and origin == "default"
        ]
        if ours:
            values = {"build_up": build_up.id, "keys": ", ".join(ours)}
            yield Message(id="bundle.note.default_build_up", values=values)


def documents(root: Path) -> dict[str, str]:
    """The job document as an immutable revision keeps it, by path in the bundle.

    Documents and GeoJSON go in as text; drawings and weather as ``sha256:`` and
    their hash, so that a changed drawing is a changed job.
    """
    found: dict[str, str] = {}
    for folder in (root, root / "decks", root / "weather"):
        for path in sorted(folder.iterdir()) if folder.is_dir() else ():
            if not path.is_file() or path.name.startswith("."):
                continue
            name = path.relative_to(root).as_posix()
            if path.suffix in {".toml", ".geojson"}:
                found[name] = path.read_text("utf-8")
            elif folder != root:
                found[name] = f"sha256:{hashlib.sha256(path.read_bytes()).hexdigest()}"
    return found
