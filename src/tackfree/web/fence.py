"""The fence around the app: who is let in, the headers of every answer, and its tag."""

from __future__ import annotations

import hashlib
import logging
from collections.abc import Awaitable, Callable

from starlette.datastructures import MutableHeaders
from starlette.requests import ClientDisconnect, Request
from starlette.responses import Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from tackfree.errors import ToolError

log = logging.getLogger("tackfree.web")

CSP = (
    "default-src 'none'; script-src 'self'; style-src 'self'; font-src 'self'; "
    "img-src 'self' blob:; connect-src 'self'; worker-src 'self'; manifest-src 'self'; "
    "base-uri 'none'; form-action 'self'; frame-ancestors 'none'"
)
HEADERS = {
    "Content-Security-Policy": CSP,
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",  # with none, a form of ours would post Origin: null
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), geolocation=(), microphone=(), payment=(), usb=()",
    "Cache-Control": "no-cache",
}
VARY = "Accept, Accept-Language, Cookie"

Stops = Callable[[Request], Awaitable[Response | None]]
Says = Callable[[Request, Exception], Response]


class Fence:
    """Stands before the routes as plain ASGI: an answer passes without another task or queue.

    Parameters
    ----------
    stops
        The answer to a request that is not let in, or None.
    says
        The answer where a fault comes out of the routes.
    """

    def __init__(self, app: ASGIApp, *, stops: Stops, says: Says) -> None:
        self.app, self.stops, self.says = app, stops, says

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        request = Request(scope, receive)
        way = _Way(request, send)
        try:
            stopped = await self.stops(request)
            await (stopped or self.app)(scope, receive, way.send)
        except Exception as error:
            if way.begun:  # a half answer cannot be taken back; the line is cut
                raise
            if not isinstance(error, ToolError | ClientDisconnect):
                log.exception("fault while answering %s", request.url.path)
            way.forget()
            await self.says(request, error)(scope, receive, way.send)


class _Way:
    """The way out of one answer: headers on it, and for what is read a tag of its bytes."""

    def __init__(self, request: Request, send: Send) -> None:
        self.request, self._send = request, send
        self.begun = False
        self.forget()

    def forget(self) -> None:
        """Drop what was kept back."""
        self._kept: Message | None = None
        self._parts: list[bytes] = []

    async def send(self, message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in HEADERS.items():
                headers.setdefault(name, value)
            headers["Vary"] = VARY
            reads = self.request.method in ("GET", "HEAD")
            if reads and message["status"] == 200 and "etag" not in headers:
                self._kept = message
                return
        elif self._kept is not None and message["type"] == "http.response.body":
            self._parts.append(message.get("body", b""))
            if not message.get("more_body", False):
                await self._tagged(self._kept)
            return
        self.begun = True
        await self._send(message)

    async def _tagged(self, start: Message) -> None:
        """ETag of the body for pages and assets; 304 where the reader has the same bytes."""
        body = b"".join(self._parts)
        headers = MutableHeaders(scope=start)
        tag = f'"{hashlib.sha256(body).hexdigest()[:32]}"'
        headers["etag"] = tag
        if tag in self.request.headers.get("if-none-match", ""):
            del headers["content-length"]
            start["status"], body = 304, b""
        else:
            headers["content-length"] = str(len(body))
        self.begun = True
        await self._send(start)
        await self._send({"type": "http.response.body", "body": body})
