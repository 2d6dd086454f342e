"""Open a bundle, folder or zip, and read its documents without trusting them."""

from __future__ import annotations

import atexit
import contextlib
import re
import stat
import tempfile
import tomllib
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath
from typing import Any

from pydantic import BaseModel, ValidationError

from tackfree.bundle import faults as say
from tackfree.bundle.documents.build_ups import BuildUpsDoc
from tackfree.bundle.documents.deck import DeckDocument
from tackfree.bundle.documents.job import JobDoc
from tackfree.bundle.documents.price import PriceDoc
from tackfree.bundle.documents.products import ProductsDoc
from tackfree.bundle.documents.spec import SpecDoc
from tackfree.errors import Fault, InputError, NotFound

ZIP_FILES_MAX = 5_000
ZIP_BYTES_MAX = 500_000_000  # unpacked; drawings and photos included
DOCUMENT_BYTES_MAX = 5_000_000

MODELS: dict[str, type[BaseModel]] = {
    "job.toml": JobDoc,
    "spec.toml": SpecDoc,
    "products.toml": ProductsDoc,
    "buildups.toml": BuildUpsDoc,
    "price.toml": PriceDoc,
}
OPTIONAL = {"spec.toml", "price.toml"}


@dataclass(frozen=True, kw_only=True)
class Read:
    """One document: what it says, and its model where it is in order."""

    file: str
    raw: dict[str, Any]
    model: BaseModel | None


@dataclass(kw_only=True)
class Documents:
    """All documents of a bundle and the faults found while reading."""

    root: Path
    found: dict[str, Read] = field(default_factory=dict)
    faults: list[Fault] = field(default_factory=list)

    @property
    def decks(self) -> list[Read]:
        return [r for name, r in self.found.items() if name.startswith("decks/")]


def read(root: Path) -> Documents:
    """Read every document of an unpacked bundle; faults are gathered, not raised."""
    docs = Documents(root=root)
    for name, model in MODELS.items():
        if (root / name).is_file():
            _read_one(docs, name, model)
        elif name not in OPTIONAL:
            docs.faults.append(
                Fault(where=name, what="The file is missing.", do="Add it to the bundle.")
            )
    decks = sorted((root / "decks").glob("*.toml"))
    for path in decks:
        _read_one(docs, f"decks/{path.name}", DeckDocument)
    if not decks:
        docs.faults.append(
            Fault(
                where="decks",
                what="There is no deck: the folder holds no .toml file.",
                do="Add one file for each deck, such as decks/P1.toml.",
            )
        )
    return docs


def _read_one(docs: Documents, name: str, model: type[BaseModel]) -> None:
    raw = _toml(docs, name)
    if raw is not None:
        take(docs, name, model, raw)


def take(docs: Documents, name: str, model: type[BaseModel], raw: dict[str, Any]) -> None:
    """Add one document by what its file says."""
    parsed: BaseModel | None = None
    try:
        parsed = model.model_validate(raw)
    except ValidationError as error:
        docs.faults.extend(say.of_model(name, model, raw, error))
    docs.found[name] = Read(file=name, raw=raw, model=parsed)


def _toml(docs: Documents, name: str) -> dict[str, Any] | None:
    path = docs.root / name
    size = path.stat().st_size
    if size > DOCUMENT_BYTES_MAX:
        what = f"The file has {size} bytes; a document has at most {DOCUMENT_BYTES_MAX}."
        docs.faults.append(Fault(where=name, what=what, do="Check that it is the right file."))
        return None
    data = path.read_bytes()
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        what = f"Line {line} is not UTF-8: byte 0x{data[error.start]:02X}."
        docs.faults.append(Fault(where=name, what=what, do="Save the file as UTF-8."))
        return None
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        docs.faults.append(_syntax(name, text, str(error)))
        return None


def _syntax(name: str, text: str, message: str) -> Fault:
    """The reader's message with its line quoted."""
    at = re.search(r"\(at line (\d+), column (\d+)\)", message)
    line, column = (int(at[1]), int(at[2])) if at else (text.count("\n") + 1, 1)
    lines = text.splitlines() or [""]
    quoted = lines[min(line, len(lines)) - 1].strip()[:60]
    reason = message.split(" (at ")[0].rstrip(".")
    return Fault(
        where=f"{name}, line {line}, column {column}",
        what=f"This is not TOML: {reason}.",
        do=f"Mend the line or the one before it: {quoted}" if quoted else "Mend the end of it.",
    )


_held = contextlib.ExitStack()
atexit.register(_held.close)


def folder_of(path: Path) -> Path:
    """The folder of a bundle; a zip is unpacked into one kept until the process ends."""
    if path.is_dir():
        return path
    return _held.enter_context(unpacked(path))


@contextlib.contextmanager
def unpacked(path: Path) -> Iterator[Path]:
    """A bundle as a folder for as long as the context lasts.

    Raises
    ------
    NotFound
        If there is nothing at the path.
    InputError
        If the file is no zip, or the zip is not safe to unpack.
    """
    if path.is_dir():
        yield path
        return
    if not path.exists():
        raise NotFound(
            "There is no such folder or file.",
            where=str(path),
            do="Give the folder or the zip of a job.",
        )
    with tempfile.TemporaryDirectory(prefix="tackfree-") as temp:
        root = Path(temp)
        try:
            with zipfile.ZipFile(path) as packed:
                _unpack(packed, root, str(path))
        except (zipfile.BadZipFile, NotImplementedError, RuntimeError, EOFError) as error:
            raise InputError(
                f"The file cannot be unpacked: {error}.",
                where=str(path),
                do="Give the folder or the zip of a job.",
            ) from error
        inside = sorted(root.iterdir())
        if not (root / "job.toml").exists() and len(inside) == 1 and inside[0].is_dir():
            root = inside[0]  # zipped together with its folder
        yield root


def _unpack(packed: zipfile.ZipFile, root: Path, where: str) -> None:
    def refuse(what: str) -> InputError:
        return InputError(what, where=where, do="Pack the job's folder again, and only that.")

    entries = packed.infolist()
    if len(entries) > ZIP_FILES_MAX:
        raise refuse(f"The zip holds {len(entries)} files; {ZIP_FILES_MAX} are allowed.")
    left = ZIP_BYTES_MAX
    seen: set[str] = set()
    for entry in entries:
        name = PurePosixPath(entry.filename)
        odd = "\\" in entry.filename or ":" in entry.filename or "\0" in entry.filename
        if odd or name.is_absolute() or ".." in name.parts or not name.parts:
            raise refuse(f"The zip holds a path that leaves its folder: {entry.filename!r}.")
        mode = entry.external_attr >> 16
        if stat.S_IFMT(mode) not in {0, stat.S_IFREG, stat.S_IFDIR}:
            raise refuse(f"The zip holds {entry.filename!r}, which is no plain file.")
        if entry.is_dir():
            (root / name).mkdir(parents=True, exist_ok=True)
            continue
        if str(name).casefold() in seen:
            raise refuse(f"The zip holds {entry.filename!r} twice.")
        seen.add(str(name).casefold())
        (root / name).parent.mkdir(parents=True, exist_ok=True)
        with packed.open(entry) as source, (root / name).open("xb") as target:
            # The declared size may lie, so what comes out is counted.
            while block := source.read(min(1 << 20, left + 1)):
                left -= len(block)
                if left < 0:
                    raise refuse(f"The zip unpacks to more than {ZIP_BYTES_MAX} bytes.")
                target.write(block)
