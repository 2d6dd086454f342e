"""The web app: pages to read, from one output folder, for one machine by default."""

from __future__ import annotations

import hashlib
import logging
from collections.abc import Awaitable, Callable
from datetime import date, datetime
from importlib import resources
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import uvicorn
from fastapi import FastAPI
from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape
from markupsafe import Markup
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import FileResponse, JSONResponse, Response

from tackfree import words
from tackfree.errors import Fault, NotFound, ToolError
from tackfree.service import pages
from tackfree.service.pages import PAGES, Built, Reader
from tackfree.sheets import look
from tackfree.web.asking import Taste, asked_of, taste_of

log = logging.getLogger("tackfree.web")

CSP = (
    "default-src 'none'; script-src 'self'; style-src 'self'; font-src 'self'; img-src 'self'; "
    "connect-src 'self'; manifest-src 'self'; base-uri 'none'; form-action 'self'; "
    "frame-ancestors 'none'"
)
HEADERS = {
    "Content-Security-Policy": CSP,
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), geolocation=(), microphone=(), payment=(), usb=()",
}
STATIC = {"tackfree.css": "text/css", "drawing.js": "text/javascript", "icon.svg": "image/svg+xml"}
FONTS = ("B612-Regular.otf", "B612-Bold.otf")
MEDIA = {
    ".pdf": "application/pdf",
    ".svg": "image/svg+xml",
    ".ics": "text/calendar",
    ".xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
}
PATHS = {"job": "/", **{s: f"/{s}" for s in pages.STAGES if s != "job"}}
LOCAL = ("127.0.0.1", "localhost", "[::1]")


def create_app(
    out: Path,
    bundle: Path | None = None,
    *,
    hosts: tuple[str, ...] = LOCAL,
    today: Callable[[ZoneInfo], date] = lambda zone: datetime.now(zone).date(),
) -> FastAPI:
    """The app over one output folder of ``job build``.

    Parameters
    ----------
    out : folder
        What ``job build`` wrote; read again when it is rebuilt.
    bundle : folder or zip, optional
        Named in the command that a page with a missing stage shows.
    hosts
        Host names the server answers to; ("*",) for any. A page of another name,
        pointed at this machine, gets nothing.
    today
        The date at the job's place; an argument so that tests choose it.
    """
    app = FastAPI(title="Tackfree", docs_url=None, redoc_url=None, openapi_url=None)
    templates = _templates()
    shelf: dict[Any, Built] = {}

    def built() -> Built:
        mark = pages.signature(out)
        if mark not in shelf:
            fresh = pages.read_out(out)
            shelf.clear()
            shelf[mark] = fresh
        return shelf[mark]

    def show(stage: str) -> Callable[[Request], Response]:
        def route(request: Request) -> Response:
            found = built()
            taste = taste_of(request, found.units)
            asked = asked_of(request)
            reader = Reader(language=taste.lang, units=taste.units, zone=found.zone)
            page = PAGES[stage](found, reader, asked, today(found.zone), str(bundle or "BUNDLE"))
            html = templates.get_template("page.html").render(
                page=page, say=reader.say, taste=taste, here=_here(request), to=_to(request),
                stages=[(s, PATHS[s], reader.say(f"stage.{s}")) for s in pages.STAGES],
            )  # fmt: skip
            return _keep(Response(html, media_type="text/html; charset=utf-8"), request, taste)

        return route

    for stage, path in PATHS.items():
        app.add_api_route(path, show(stage), methods=["GET", "HEAD"], name=stage)

    @app.api_route("/files/{name:path}", methods=["GET", "HEAD"])
    def file(name: str) -> Response:
        path = pages.file_of(out, name)
        return FileResponse(path, media_type=MEDIA[path.suffix], filename=path.name,
                            content_disposition_type="inline")  # fmt: skip

    @app.api_route("/static/{name}", methods=["GET", "HEAD"])
    def static(name: str) -> Response:
        if name == "look.css":
            return Response(_look(), media_type="text/css")
        if name in STATIC:
            return Response(_asset("tackfree.web", "static", name), media_type=STATIC[name])
        if name in FONTS:
            return Response(_asset("tackfree", "assets", "fonts", name), media_type="font/otf")
        raise _no_page(name)

    _fences(app, templates, hosts)
    return app


def run(out: Path, bundle: Path | None = None, host: str = "127.0.0.1", port: int = 8000) -> None:
    """Serve until stopped. Any host but this machine's own lets the network in."""
    hosts = LOCAL if host in ("127.0.0.1", "localhost", "::1") else ("*",)
    uvicorn.run(
        create_app(out, bundle, hosts=hosts), host=host, port=port, log_level="warning",
        server_header=False,
    )  # fmt: skip


def _fences(app: FastAPI, templates: Environment, hosts: tuple[str, ...]) -> None:
    """Headers, host names, and the one shape of every error."""

    def refuse(request: Request, status: int, faults: tuple[Fault, ...]) -> Response:
        if "text/html" not in request.headers.get("accept", ""):
            body = [{"where": f.where, "what": f.what, "do": f.do} for f in faults]
            return JSONResponse(
                {"schema": "tackfree.refused/1", "refused": body}, status_code=status
            )
        taste = taste_of(request, "us")
        html = templates.get_template("refused.html").render(
            faults=faults, taste=taste,
            say=lambda name, /, **v: words.say(f"page.{name}", taste.lang, **v),
        )  # fmt: skip
        return Response(html, status, media_type="text/html; charset=utf-8")

    def said(request: Request, kind: str, where: str, **values: str) -> tuple[Fault, ...]:
        lang = taste_of(request, "us").lang
        return (
            Fault(
                where=where,
                what=words.say(f"page.error.{kind}", lang, **values),
                do=words.say(f"page.error.{kind}-do", lang, **values),
            ),
        )

    @app.exception_handler(ToolError)
    async def tool_error(request: Request, error: ToolError) -> Response:
        return refuse(request, 404 if isinstance(error, NotFound) else 400, error.faults)

    @app.exception_handler(HTTPException)
    async def http_error(request: Request, error: HTTPException) -> Response:
        where = request.url.path
        if error.status_code == 405:
            answer = refuse(request, 405, said(request, "no-method", where, method=request.method))
            answer.headers["Allow"] = "GET, HEAD"
            return answer
        return refuse(request, error.status_code, said(request, "no-page", where))

    @app.middleware("http")
    async def fence(request: Request, go_on: Callable[[Request], Awaitable[Response]]) -> Response:
        host = request.headers.get("host", "").rsplit(":", 1)[0] or "?"
        if "*" not in hosts and host not in hosts:
            answer = refuse(request, 400, said(request, "bad-host", "Host", host=repr(host[:80])))
        else:
            try:
                answer = await go_on(request)
            except Exception:
                log.exception("fault while answering %s", request.url.path)
                answer = refuse(request, 500, said(request, "inside", request.url.path))
        for name, value in HEADERS.items():
            answer.headers.setdefault(name, value)
        answer.headers.setdefault("Cache-Control", "no-cache")
        answer.headers["Vary"] = "Accept, Accept-Language, Cookie"
        return await _tagged(request, answer)


async def _tagged(request: Request, answer: Response) -> Response:
    """ETag of the body for pages and assets; 304 where the reader has the same bytes."""
    if answer.status_code != 200 or "etag" in answer.headers:
        return answer
    chunks = [c if isinstance(c, bytes) else bytes(c, "utf-8") async for c in answer.body_iterator]  # type: ignore[attr-defined]
    body = b"".join(chunks)
    tag = f'"{hashlib.sha256(body).hexdigest()[:32]}"'
    headers = [(k, v) for k, v in answer.headers.items() if k.lower() != "content-length"]
    same = tag in request.headers.get("if-none-match", "")
    fresh = Response(b"" if same else body, 304 if same else 200)
    fresh.raw_headers = [
        (k.encode("latin-1"), v.encode("latin-1")) for k, v in [*headers, ("etag", tag)]
    ]
    if not same:
        fresh.raw_headers.append((b"content-length", str(len(body)).encode()))
    return fresh


def _keep(answer: Response, request: Request, taste: Taste) -> Response:
    """Remember what the address asked for, for the pages that follow."""
    for name, value in (("lang", taste.lang), ("units", taste.units), ("ground", taste.ground)):
        if request.query_params.get(name) == value:
            answer.set_cookie(
                f"tackfree-{name}", value, max_age=31_536_000, httponly=True, samesite="lax"
            )
    return answer


def _here(request: Request) -> Callable[..., str]:
    """Address of this page with some parameters changed; None drops one."""

    def here(**changes: str | None) -> str:
        return _to(request)(request.url.path, **changes)

    return here


def _to(request: Request) -> Callable[..., str]:
    """Address of a page of ours, keeping the deck and day in view."""

    def to(path: str, **changes: str | None) -> str:
        kept: dict[str, str | None] = {
            k: request.query_params.get(k) for k in ("deck", "day", "shift", "surface")
        }
        if path != request.url.path:
            kept["shift"] = kept["surface"] = None
        kept.update(changes)
        url = request.url.replace(scheme="", netloc="", path=path, query="", fragment="")
        return str(url.include_query_params(**{k: v for k, v in kept.items() if v}))

    return to


def _templates() -> Environment:
    found = Environment(
        loader=PackageLoader("tackfree.web", "templates"),
        autoescape=select_autoescape(default=True, default_for_string=True),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    found.filters["drawing"] = Markup  # cleaned by service.pages.drawing
    return found


def _look() -> str:
    """The tokens of sheets.look as CSS variables: day, night by system, night by switch."""

    day, night, paper = (
        "".join(f"--{role}:{colour};" for role, colour in palette.items())
        for palette in (look.DAY, look.NIGHT, look.PRINT)
    )
    drawn = "".join(  # the classes that sheets give to fills and strokes
        f".f-{role}{{fill:var(--{role})}}.s-{role}{{stroke:var(--{role})}}" for role in look.DAY
    )
    return (
        f":root{{color-scheme:light;--font:{look.FONT_FALLBACK};{day}}}\n"
        f"@media (prefers-color-scheme:dark){{:root:not([data-ground=day])"
        f"{{color-scheme:dark;{night}}}}}\n"
        f":root[data-ground=night]{{color-scheme:dark;{night}}}\n"
        f"@media print{{:root:root:root{{color-scheme:light;{paper}}}}}\n"
        f"{drawn}\n"
    )


def _asset(package: str, *names: str) -> bytes:
    return resources.files(package).joinpath(*names).read_bytes()


def _no_page(name: str) -> HTTPException:
    return HTTPException(404, name)
