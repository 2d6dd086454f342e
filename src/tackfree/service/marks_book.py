"""Layouts of a built job and of its re-cuts, and the entries that a tap adds."""

from __future__ import annotations

import json
import secrets
import threading
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from tackfree.errors import InputError, NotFound
from tackfree.record.canonical import ulid
from tackfree.record.entries import BATCH_MAX, Entry, sha_of
from tackfree.service.marks_live import Draft, Film, Live, state_of
from tackfree.service.marks_recut import recut
from tackfree.service.recording.desk import Desk
from tackfree.service.save import dumps, write_atomic

Json = Mapping[str, Any]
SCHEMA = "tackfree.marks/1"


@dataclass(eq=False)
class MarksBook:
    """The layouts of one output folder and the record of its bundle.

    ``desk`` is None where an output folder is shown alone: layouts can be seen then,
    nothing can be marked.
    """

    out: Path
    desk: Desk | None
    _turn: threading.Lock = field(default_factory=threading.Lock)
    _read: dict[tuple[str, int], list[Json]] = field(default_factory=dict)
    _seen: list[Entry] = field(default_factory=list)

    def layouts(self) -> list[Json]:
        """Layouts as built, in the order of the job.

        Raises
        ------
        NotFound
            If the build holds none.
        """
        path = self.out / "stages" / "marks.json"
        try:
            mark = (str(path), path.stat().st_mtime_ns)
            if mark not in self._read:
                found = json.loads(path.read_text("utf-8"))
                if found.get("schema") != SCHEMA:
                    raise ValueError(found.get("schema"))
                self._read.clear()
                self._read[mark] = found["layouts"]
        except (OSError, ValueError, KeyError) as error:
            raise NotFound("no kit marks are built here.", where="stages/marks.json",
                           do="Build the job again.") from error  # fmt: skip
        return self._read[mark]

    def current(self, section_id: str, coat_id: str) -> Json:
        """The newest layout of a section and coat: as built, or cut anew since.

        Raises
        ------
        NotFound
            If there is none.
        """
        built = [
            one for one in self.layouts()
            if (one["section_id"], one["coat_id"]) == (section_id, coat_id)
        ]  # fmt: skip
        if not built:
            raise NotFound(f"there are no marks of {section_id} {coat_id}.", where="marks",
                           do="Choose a section and coat of the list.")  # fmt: skip
        found = built[0]
        for later in self._kept(section_id, coat_id):
            # A re-cut of a layout that was built since differently no longer follows.
            if later["replaces"] == found["id"]:
                found = later
        return found

    def live(self, layout: Json, film: Film) -> Live:
        """What the record says of a layout now."""
        return state_of(layout, self._entries(), film)

    def add(self, drafts: Sequence[Draft], person: str) -> None:
        """Append entries in one chain of this page's own.

        Raises
        ------
        InputError
            If the record takes one of them back; what was stored stays.
        """
        desk = self._desk()
        with self._turn:
            device, seq, previous = self._chain(desk)
            zone = desk.job.place.time_zone
            sent = []
            for draft in drafts:
                one = {
                    "id": ulid(time_ms=time.time_ns() // 1_000_000,
                               randomness=secrets.token_bytes(10)),
                    "job": desk.job.id,
                    "device": device,
                    "seq": seq,
                    "person": person,
                    "wall": datetime.now(ZoneInfo(zone)).isoformat(timespec="seconds"),
                    "zone": zone,
                    "kind": draft.kind,
                    "v": 1,
                    "body": draft.body,
                    "previous": previous,
                }  # fmt: skip
                previous, seq = sha_of(one), seq + 1
                sent.append(one)
            for begin in range(0, len(sent), BATCH_MAX):
                for result in desk.take(sent[begin : begin + BATCH_MAX]).results:
                    if result.status not in ("stored", "duplicate"):
                        said = "; ".join(d.said("en").what for d in result.doubts)
                        raise InputError(f"the record holds the entry: {said}", where="record",
                                         do="Look at the held entries.")  # fmt: skip

    def cut_anew(
        self, layout: Json, live: Live, *, left_out: Sequence[int], us: bool, person: str
    ) -> Json:
        """Cut what is left of a layout anew, keep it, and say so in the record."""
        new = recut(layout, live, left_out=left_out, us=us)
        said = (
            f"Marks cut anew: layout {new['id']} replaces {layout['id']} "
            f"from cell {new['from_cell']}."
        )
        self._keep(new, said, person)
        return new

    def choose(self, layout: Json, live: Live, chosen: Json, *, said: str, person: str) -> None:
        """Put another layout in place of one of which no kit is in.

        Raises
        ------
        InputError
            If a kit is in.
        """
        if live.placed:
            raise InputError(f"{live.placed} kits are in.", where=live.layout,
                             do="Cut what is left anew instead.")  # fmt: skip
        self._keep({**chosen, "replaces": layout["id"], "from_cell": 1}, said, person)

    def _keep(self, new: Json, said: str, person: str) -> None:
        section, coat = new["section_id"], new["coat_id"]
        path = self._place(section, coat)
        kept = [*self._kept(section, coat), new]
        path.parent.mkdir(parents=True, exist_ok=True)
        write_atomic(path, dumps({"schema": SCHEMA, "layouts": kept}))
        self.add([Draft(kind="note", body={"text": said, "section": section})], person)

    def _desk(self) -> Desk:
        if self.desk is None:
            raise NotFound("there is no job bundle here, so there is no record.",
                           where="record", do="Serve the bundle of the job.")  # fmt: skip
        return self.desk

    def _place(self, section_id: str, coat_id: str) -> Path:
        return self._desk().bundle / ".tackfree" / "layouts" / f"{section_id}.{coat_id}.json"

    def _kept(self, section_id: str, coat_id: str) -> list[Json]:
        if self.desk is None:
            return []
        path = self._place(section_id, coat_id)
        if not path.exists():
            return []
        found: list[Json] = json.loads(path.read_text("utf-8"))["layouts"]
        return found

    def _entries(self) -> list[Entry]:
        """Every entry of the job; only what is new is read."""
        if self.desk is None:
            return []
        after = self._seen[-1].pos if self._seen else 0
        while page := self.desk.entries(after=after):
            self._seen += page
            after = page[-1].pos
        return self._seen

    def _chain(self, desk: Desk) -> tuple[str, int, str]:
        """This page's device, its next number and the hash of its last entry."""
        path = desk.bundle / ".tackfree" / "marks-device"
        if not path.exists():
            path.parent.mkdir(parents=True, exist_ok=True)
            write_atomic(path, f"marks-{secrets.token_hex(6)}\n")
        device = path.read_text("utf-8").strip()
        last = next((e for e in reversed(self._entries()) if e.device == device), None)
        return (device, last.seq + 1, last.sha) if last else (device, 1, "")
