"""Bad files are refused in bounded memory and time: a child process reads them all."""

from __future__ import annotations

import gzip
import json
import subprocess
import sys
import zipfile
import zlib

import pytest
from tests.intake.dxf_cases import Draft
from tests.intake.pdf_cases import PLAIN, pdf
from tests.service.test_drawing import png

MOST_MB = 700  # beyond what the program itself takes
MOST_S = 60  # of one core; a loaded machine is slow, not wrong
HARD_LIMIT = 8_000_000_000  # address space, where the machine stops it at all

CHILD = """
import json, resource, sys, time
from pathlib import Path
resource.setrlimit(resource.RLIMIT_AS, ({limit}, {limit}))
from tackfree.errors import ToolError
from tackfree.intake.dxf import read_deck
from tackfree.service import drawing
from tests.intake.dxf_cases import deck_doc

def peak_mb():
    status = Path("/proc/self/status").read_text()
    return int(next(r for r in status.splitlines() if r.startswith("VmHWM")).split()[1]) / 1024

def reset():
    Path("/proc/self/clear_refs").write_text("5")

for name, how in json.loads(sys.argv[1]):
    reset()
    before, begun = peak_mb(), time.process_time()
    said, kind = "", "read"
    try:
        if how == "deck":
            read_deck(Path(name), deck_doc())
        else:
            found, faults = drawing.read_drawing(Path(name))
            said = " ".join(f.what for f in faults)
            kind = "refused" if faults else "read"
    except ToolError as fault:
        said, kind = str(fault), "refused"
    row = (Path(name).name, kind, said, peak_mb() - before, time.process_time() - begun)
    print(json.dumps(row), flush=True)
"""


def locked():
    lock = "<< /Filter /Standard /V 1 /R 2 /P -44 /O <" + "ab" * 32 + "> /U <" + "cd" * 32 + "> >>"
    return pdf(PLAIN, trailer=f"/Encrypt {lock} /ID [<00> <00>]")


def packed_page(megabytes):
    """A page whose content is packed a thousand to one: blanks, then a square."""
    packer, parts = zlib.compressobj(9), []
    for _ in range(megabytes):
        parts.append(packer.compress(b" " * 1_000_000))
    parts += [packer.compress(b"1 w 10 10 100 100 re S"), packer.flush()]
    body = b"".join(parts)
    plain = pdf("@@").replace(
        b"<< /Length 2 >>", b"<< /Length %d /Filter /FlateDecode >>" % len(body)
    )
    return plain.replace(b"@@", body)


def draft(path, make):
    d = Draft()
    make(d)
    d.document.saveas(path)
    return path


def bad_files(folder):
    """(file, how it is read, a word of its refusal)."""

    def at(name):
        return folder / name

    draft(at("bow-tie.dxf"), lambda d: d.ring([(0, 0), (10, 10), (10, 0), (0, 10)]))
    draft(at("zero-area.dxf"), lambda d: d.ring([(0, 0), (10, 0), (20, 0)]))
    draft(at("open.dxf"), lambda d: d.lines((0, 0, 9, 0), (9, 0, 9, 9), (9, 9, 0, 9)))
    draft(at("nan.dxf"), lambda d: d.lines((7777.5, 1, 2, 2)))
    at("nan.dxf").write_text(at("nan.dxf").read_text("utf-8").replace("7777.5", "nan"), "utf-8")
    for kind in ("dxf", "pdf", "geojson", "png"):
        with at(f"sparse.{kind}").open("wb") as file:
            file.truncate(200_000_000)
    with zipfile.ZipFile(at("zip-bomb.dxf"), "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("deck.dxf", b"\0" * 200_000_000)
    with gzip.open(at("gzip-bomb.dxf"), "wb", compresslevel=9) as file:
        file.write(b"\0" * 50_000_000)
    at("locked.pdf").write_bytes(locked())
    at("packed.pdf").write_bytes(packed_page(600))
    at("wide.png").write_bytes(png(30_000, 30_000))
    return [
        ("bow-tie.dxf", "deck", "crosses itself"),
        ("zero-area.dxf", "deck", "encloses no area"),
        ("open.dxf", "deck", "open at"),
        ("nan.dxf", "deck", "cannot be read"),
        ("sparse.dxf", "look", "larger than"),
        ("sparse.pdf", "look", "larger than"),
        ("sparse.geojson", "look", "larger than"),
        ("sparse.png", "look", "no picture"),
        ("zip-bomb.dxf", "look", "packed archive"),
        ("gzip-bomb.dxf", "look", "packed archive"),
        ("locked.pdf", "look", "password"),
        ("packed.pdf", "look", "unpacks to more than"),
        ("wide.png", "look", "too large"),
    ]


@pytest.mark.skipif(sys.platform != "linux", reason="memory is measured in /proc")
def test_bad_files_in_bounded_memory_and_time(tmp_path):
    wanted = bad_files(tmp_path)
    files = json.dumps([(str(tmp_path / name), how) for name, how, _ in wanted])
    done = subprocess.run(
        [sys.executable, "-c", CHILD.format(limit=HARD_LIMIT), files],
        capture_output=True, text=True, timeout=300, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr[-2000:]
    found = [json.loads(row) for row in done.stdout.splitlines()]
    assert [row[0] for row in found] == [name for name, _, _ in wanted]
    for (name, _, word), (_, kind, said, mb, seconds) in zip(wanted, found, strict=True):
        assert kind == "refused", name
        assert word in said, (name, said)
        assert mb < MOST_MB, (name, mb)
        assert seconds < MOST_S, (name, seconds)
