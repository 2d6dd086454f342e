"""An invented job of one rectangular bay, 40 ft by 80 ft, and phone files logged on it."""

from __future__ import annotations

import json
import re
import secrets
import shutil
from pathlib import Path
from typing import Any

from typer.testing import CliRunner

from tackfree.cli.app import app
from tackfree.record.canonical import ulid
from tackfree.record.entries import sha_of

FT, GAL = 0.3048, 3.785411784  # exact
WIDE_FT, HIGH_FT = 40.0, 80.0
SECTION = "MAIN-FIELD-1"
BASE = {"section": SECTION, "coat": "BASE"}
Logged = tuple[str, dict[str, Any]] | tuple[str, dict[str, Any], str]


def tackfree(*words: str | Path, refused: bool = False) -> str:
    """What the command line answers, or refuses with."""
    run = CliRunner().invoke(app, [str(w) for w in words])
    assert run.exit_code == int(refused), run.output
    return (str(run.exception) if refused else run.stdout).replace("\u00a0", " ")


def new_bay(folder: Path) -> Path:
    """25 mil over 6 mil of texture asked for on 3,200 ft², no loss, no details."""
    tackfree("job", "new", folder)
    w, h = WIDE_FT * FT, HIGH_FT * FT
    zone = {
        "type": "Feature", "properties": {"id": "MAIN-FIELD", "kind": "zone"},
        "geometry": {
            "type": "Polygon", "coordinates": [[[0, 0], [w, 0], [w, h], [0, h], [0, 0]]],
        },
    }  # fmt: skip
    drawing = {"type": "FeatureCollection", "features": [zone]}
    (folder / "decks" / "MAIN.geojson").write_text(json.dumps(drawing), "utf-8")
    deck = folder / "decks" / "MAIN.toml"
    deck.write_text(deck.read_text("utf-8").replace('"1.5 %"', '"0 %"'), "utf-8")
    sheet = folder / "buildups.toml"
    text = sheet.read_text("utf-8").replace('loss = "8 %"', 'loss = "0 %"')
    sheet.write_text(text.replace('# fill = "3 mil"', 'fill = "6 mil"'), "utf-8")
    return folder


def log(bay: Path, where: Path, bodies: list[Logged], wall: str) -> Path:
    """A copy of the job with its record taken in from a phone's file; a body may carry its
    own wall time."""
    shutil.copytree(bay, where)
    job_id = re.search(r'^id = "(.+)"', (bay / "job.toml").read_text("utf-8"), re.M)
    assert job_id
    previous, lines = "", []
    for seq, (kind, body, *own) in enumerate(bodies, 1):
        sent = {
            "id": ulid(time_ms=1_800_000_000_000 + seq, randomness=secrets.token_bytes(10)),
            "job": job_id[1], "device": "phone-7", "seq": seq, "person": "Foreman",
            "wall": own[0] if own else wall, "zone": "America/New_York", "kind": kind,
            "v": 1, "body": body, "previous": previous,
        }  # fmt: skip
        previous = sha_of(sent)
        lines.append(json.dumps(sent))
    phone = where / "phone.jsonl"
    phone.write_text("\n".join(lines), "utf-8")
    assert f"{len(bodies)} stored" in tackfree("record", "import", where, phone)
    return where
