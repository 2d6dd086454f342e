"""One open record of a bundle, and the one writer that commits for everybody who waits."""

from __future__ import annotations

import threading
from collections.abc import Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field
from functools import cached_property, partial
from pathlib import Path
from typing import Any

from tackfree.bundle.load import documents
from tackfree.bundle.types import Job
from tackfree.record.checking import Checked, Sender
from tackfree.record.entries import Entry, Held, Taken, entries, fits, held_entries, look_at, write
from tackfree.record.photos import Photos
from tackfree.record.revisions import save_revision
from tackfree.record.store import Record, open_record
from tackfree.service.job import open_job
from tackfree.service.record import where_of

AT_ONCE = 2000  # entries of one commit: what a phone waits for others


@dataclass(eq=False)
class _Waiting:
    """A batch that waits for its commit."""

    batch: Sequence[Any]
    sender: Sender | None
    taken: Future[Taken] = field(default_factory=Future)

    def looked(self) -> Sequence[Checked]:
        return look_at(self.batch, sender=self.sender)


@dataclass(eq=False)
class Desk:
    """The record of one bundle, open as long as the pages are served."""

    bundle: Path
    _guard: threading.Lock = field(default_factory=threading.Lock)
    _opening: threading.Lock = field(default_factory=threading.Lock)
    _queue: list[_Waiting] = field(default_factory=list)
    _writer: ThreadPoolExecutor = field(default_factory=partial(ThreadPoolExecutor, 1, "writer"))

    @cached_property
    def job(self) -> Job:
        return open_job(self.bundle)

    @cached_property
    def photos(self) -> Photos:
        return Photos.of(self.bundle)

    @property
    def record(self) -> Record:
        """The open record; it knows the job as it is now."""
        with self._opening:
            return self._record

    @cached_property
    def _record(self) -> Record:
        opened = open_record(where_of(self.bundle))
        save_revision(opened, documents(self.job.root), job_id=self.job.id)
        return opened

    def close(self) -> None:
        """Let the database go; it opens again when it is asked for."""
        with self._opening:
            opened = self.__dict__.pop("_record", None)
        if opened is not None:
            opened.close()

    def take(self, batch: Sequence[Any], *, sender: Sender | None = None) -> Taken:
        """Append a batch and wait for its commit; see :meth:`hand_in`."""
        return self.hand_in(batch, sender=sender).result()

    def hand_in(self, batch: Sequence[Any], *, sender: Sender | None = None) -> Future[Taken]:
        """Append a batch; the answer is there after its commit.

        Batches that come while another commits wait together and share the next
        commit: two hundred phones cost a few syncs of the disk instead of two hundred.
        The one writer also looks at the entries: many threads that hash at once would
        only take turns, and keep the database waiting.

        Raises
        ------
        InputError
            If the batch is too large.
        """
        fits(batch)
        mine = _Waiting(batch, sender)
        mine.taken.set_running_or_notify_cancel()  # who hangs up takes nothing back
        with self._guard:
            self._queue.append(mine)
        self._writer.submit(self._commit)
        return mine.taken

    def _commit(self) -> None:
        """Write what waits, from the oldest on, in one transaction."""
        with self._guard:
            count = size = 0
            for one in self._queue:
                size += len(one.batch)
                if count and size > AT_ONCE:
                    break
                count += 1
            now, self._queue = self._queue[:count], self._queue[count:]
        if not now:
            return
        try:
            looked = [one.looked() for one in now]
            with self.record.writing() as connection:
                answers = write(connection, looked)
        except BaseException as fault:
            if len(now) == 1:
                now[0].taken.set_exception(fault)
                return
            for one in now:  # let each stand or fall alone
                try:
                    alone_looked = one.looked()
                    with self.record.writing() as connection:
                        (taken,) = write(connection, [alone_looked])
                except BaseException as alone:
                    one.taken.set_exception(alone)
                else:
                    one.taken.set_result(taken)
            return
        for one, answer in zip(now, answers, strict=True):
            one.taken.set_result(answer)

    def entries(self, *, after: int = 0, limit: int = 1000) -> tuple[Entry, ...]:
        """Entries of the job that arrived after a position."""
        return entries(self.record, after=after, limit=limit, job_id=self.job.id)

    def held(self) -> tuple[Held, ...]:
        """What is held and not mended."""
        return held_entries(self.record)
