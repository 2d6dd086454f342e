"""A throw-away PostgreSQL server, for tests and benches."""

from __future__ import annotations

import os
import pwd
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any


def lacking() -> str:
    """Why no server can be run here, or "" where one can."""
    if _programs() is None:
        return "PostgreSQL's server programs are not installed"
    if os.geteuid() == 0:  # the server refuses to run as root
        try:
            pwd.getpwnam("postgres")
        except KeyError:
            return "root needs the account named postgres to run the server"
    return ""


def _programs() -> Path | None:
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin"), key=lambda p: int(p.parent.name))
    if found:
        return found[-1]
    on_path = shutil.which("initdb")
    return Path(on_path).parent if on_path else None


@contextmanager
def throw_away(*, durable: bool = False) -> Iterator[str]:
    """The socket folder of a running server. ``durable``: a commit waits for the disk."""
    programs = _programs()
    assert programs is not None
    who: dict[str, Any] = {}
    if os.geteuid() == 0:
        account = pwd.getpwnam("postgres")
        who = {"user": account.pw_uid, "group": account.pw_gid, "extra_groups": []}
    folder = Path(tempfile.mkdtemp(prefix="tf-pg-"))
    if who:
        os.chown(folder, who["user"], who["group"])
    data = folder / "data"

    def call(program: str, *args: str) -> None:
        command = [str(programs / program), *args]
        with (folder / f"{program}.out").open("ab") as out:
            subprocess.run(command, check=True, cwd=folder, stdout=out, stderr=out, **who)

    try:
        call("initdb", "-D", str(data), "-U", "tackfree", "-A", "trust", "-E", "UTF8", "-N")
        options = f"-c listen_addresses= -c unix_socket_directories={folder}"
        if not durable:
            options += " -c fsync=off"
        call("pg_ctl", "-D", str(data), "-w", "-l", str(folder / "log"), "-o", options, "start")
        try:
            yield str(folder)
        finally:
            call("pg_ctl", "-D", str(data), "-m", "immediate", "stop")
    finally:
        shutil.rmtree(folder, ignore_errors=True)
