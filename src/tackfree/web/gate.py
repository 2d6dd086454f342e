"""The gate of a team's record: who sends a request, and whether they may."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from starlette.requests import Request
from starlette.responses import Response

from tackfree.record import people as rows
from tackfree.record.store import Record
from tackfree.service.people import Caller, known_as, may, viewed_as

DEVICE, SESSION, VIEW = "tackfree-device", "tackfree-session", "tackfree-view"
OPEN = ("/static/", "/join/", "/view/")
OPEN_EXACT = ("/sign-in", "/sw.js")
YEAR_S = 31_536_000


@dataclass(frozen=True, kw_only=True)
class Stopped:
    """Why a request is not let in: ``kind`` is a sentence of ``people.stopped``."""

    status: int
    kind: str
    retry_s: int = 0


@dataclass
class Limiter:
    """At most so many marks by one key in a span of time; kept in memory."""

    most: int
    span_s: float
    clock: Callable[[], float] = time.monotonic
    _marks: dict[str, list[float]] = field(default_factory=dict)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def mark(self, key: str) -> None:
        """Count one."""
        with self._lock:
            if len(self._marks) > 10_000:
                self._marks.clear()
            self._marks.setdefault(key, []).append(self.clock())

    def wait_s(self, key: str) -> int:
        """Seconds until the key is let in again; 0 for now."""
        with self._lock:
            begin = self.clock() - self.span_s
            marks = [t for t in self._marks.get(key, ()) if t > begin]
            self._marks[key] = marks
            if not marks:
                del self._marks[key]
            if len(marks) < self.most:
                return 0
            return max(1, int(marks[-self.most] - begin) + 1)

    def forget(self, key: str) -> None:
        """Start anew for a key."""
        with self._lock:
            self._marks.pop(key, None)


@dataclass
class Gate:
    """Credentials to a caller. Guesses are counted by the address they come from."""

    guesses: Limiter = field(default_factory=lambda: Limiter(most=60, span_s=300))
    names: Limiter = field(default_factory=lambda: Limiter(most=5, span_s=900))
    calls: Limiter = field(default_factory=lambda: Limiter(most=3000, span_s=60))

    def let_in(self, record: Record, request: Request) -> Caller | Stopped | None:
        """The caller, why not, or None for an address that is open to anybody."""
        path = request.url.path
        if path in OPEN_EXACT or path.startswith(OPEN):
            return None
        here = address_of(request)
        if wait := self.guesses.wait_s(here):
            return Stopped(status=429, kind="too-often", retry_s=wait)
        caller = self.caller(record, request)
        if caller is None:
            if _offers(request):
                self.guesses.mark(here)
            return Stopped(status=401, kind="unknown")
        key = caller.device or f"{caller.person}@{here}"
        if wait := self.calls.wait_s(key):
            return Stopped(status=429, kind="too-often", retry_s=wait)
        self.calls.mark(key)
        if not may(caller, request.method, path):
            return Stopped(status=403, kind="not-yours")
        return caller

    def caller(self, record: Record, request: Request) -> Caller | None:
        """Who the credentials of a request stand for. A header wins over cookies."""
        header = request.headers.get("authorization")
        if header is not None:
            scheme, _, token = header.partition(" ")
            known = rows.by_token(record, token) if scheme == "Device" else None
            return known_as(known) if known else None
        cookies = request.cookies
        known = rows.by_session(record, cookies.get(SESSION, ""))
        known = known or rows.by_token(record, cookies.get(DEVICE, ""))
        if known is not None:
            return known_as(known)
        view = rows.by_view(record, cookies.get(VIEW, ""))
        return viewed_as(view) if view is not None else None


def address_of(request: Request) -> str:
    """Where a request comes from."""
    return request.client.host if request.client else "?"


def _offers(request: Request) -> bool:
    """Whether a request tries to be somebody."""
    return "authorization" in request.headers or any(
        name in request.cookies for name in (DEVICE, SESSION, VIEW)
    )


def keep(answer: Response, request: Request, name: str, token: str, max_age_s: int) -> None:
    """Give a browser a secret that no script can read and no other site can use."""
    values: dict[str, Any] = {"httponly": True, "samesite": "strict", "path": "/"}
    answer.set_cookie(
        name, token, max_age=max_age_s, secure=request.url.scheme == "https", **values
    )
