"""The web app: pages to read, from one output folder, for one machine by default."""

from __future__ import annotations

import logging
import re
import threading
from collections.abc import Callable, Iterable
from datetime import date, datetime
from importlib import resources
from pathlib import Path
from zoneinfo import ZoneInfo

import uvicorn
from fastapi import APIRouter, FastAPI
from fastapi.concurrency import run_in_threadpool
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect, Request
from starlette.responses import FileResponse, JSONResponse, Response
from starlette.routing import BaseRoute, Match

from tackfree import words
from tackfree.errors import Fault, NotFound, ToolError
from tackfree.record.store import DamagedError
from tackfree.service import pages
from tackfree.service.pages import PAGES
from tackfree.service.people import Caller, first_invitation
from tackfree.service.recording.desk import Desk
from tackfree.sheets import look
from tackfree.web import (
    api,
    ask,
    bring,
    clocks,
    daily,
    field,
    film,
    marks,
    materials,
    people,
    plan,
    trace,
)
from tackfree.web.asking import asked_of, taste_of
from tackfree.web.fence import Fence
from tackfree.web.gate import Stopped
from tackfree.web.site import PATHS, Site, templates
from tackfree.words.faults import fault_in

log = logging.getLogger("tackfree.web")

STATIC = {
    ".css": "text/css", ".js": "text/javascript", ".svg": "image/svg+xml", ".png": "image/png",
}  # fmt: skip
ASSET = re.compile(r"^[a-z0-9-]+\.[a-z]+$")
FONTS = ("B612-Regular.otf", "B612-Bold.otf")
MEDIA = {
    ".pdf": "application/pdf",
    ".svg": "image/svg+xml",
    ".ics": "text/calendar",
    ".xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
}
# Each room of the site with pages or an interface of its own: a router over the site.
ROOMS: tuple[Callable[[Site], APIRouter], ...] = (
    api.router,
    field.router,
    people.router,
    materials.router,
    clocks.router,
    marks.router,
    film.router,
    trace.router,
    daily.router,
    bring.router,
    plan.router,
    ask.router,
)
LOCAL = ("127.0.0.1", "localhost", "[::1]")


def create_app(
    out: Path,
    bundle: Path | None = None,
    *,
    hosts: tuple[str, ...] = LOCAL,
    today: Callable[[ZoneInfo], date] = lambda zone: datetime.now(zone).date(),
    team: bool = False,
    beside: tuple[Path, ...] = (),
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
    team
        Ask everybody who they are; else one person uses this machine alone.
    beside
        Outputs of other jobs, looked at together with this one.
    """
    app = FastAPI(title="Tackfree", docs_url=None, redoc_url=None, openapi_url=None)
    site = Site(out=out, bundle=bundle, today=today, templates=templates(), team=team,
                beside=beside)  # fmt: skip
    app.state.site = site

    def show(stage: str) -> Callable[[Request], Response]:
        def route(request: Request) -> Response:
            found, reader = site.built(), site.reader(request)
            asked = asked_of(request)
            page = PAGES[stage](found, reader, asked, today(found.zone), str(bundle or "BUNDLE"))
            return site.render(
                request, "page.html", page=page,
                title=page.title, job_id=page.job_id, stage=page.stage,
            )  # fmt: skip

        return route

    for room in ROOMS:  # first: a room's own page wins over the plain one of its stage
        app.include_router(room(site))
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
            return Response(look_css(), media_type="text/css")
        kind = STATIC.get(Path(name).suffix)
        if kind and ASSET.match(name):
            found = resources.files("tackfree.web").joinpath("static", name)
            if found.is_file():
                return Response(found.read_bytes(), media_type=kind)
        if name in FONTS:
            return Response(_font(name), media_type="font/otf")
        raise _no_page(name)

    _fences(app, site, hosts)
    return app


def run(
    out: Path,
    bundle: Path | None = None,
    host: str = "127.0.0.1",
    port: int = 8000,
    *,
    team: bool = False,
    beside: tuple[Path, ...] = (),
    say: Callable[[str], None] = log.warning,
) -> None:
    """Serve until stopped. Any host but this machine's own asks everybody who they are."""
    alone = host in ("127.0.0.1", "localhost", "::1")
    hosts = LOCAL if alone else ("*",)
    team = (team or not alone) and bundle is not None
    app = create_app(out, bundle, hosts=hosts, team=team, beside=beside)
    if team and bundle is not None and (code := first_invitation(Desk(bundle=bundle).record)):
        say(f"Nobody has joined yet. The office opens, once: http://{host}:{port}/join/{code}")
    if not alone:
        say("Without TLS phones keep nothing when the signal goes: serve --lan gives it to them.")
    threading.Thread(target=app.state.site.warm, daemon=True).start()
    uvicorn.run(app, host=host, port=port, log_level="warning", server_header=False)


def _fences(app: FastAPI, site: Site, hosts: tuple[str, ...]) -> None:
    """Headers, host names, and the one shape of every error."""

    def refuse(request: Request, status: int, faults: tuple[Fault, ...]) -> Response:
        if "text/html" not in request.headers.get("accept", ""):
            body = [{"where": f.where, "what": f.what, "do": f.do} for f in faults]
            return JSONResponse(
                {"schema": "tackfree.refused/1", "refused": body}, status_code=status
            )
        taste = taste_of(request, "us")
        html = site.templates.get_template("refused.html").render(
            faults=[fault_in(f, taste.lang) for f in faults], taste=taste, sign_in=status == 401,
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

    def stop(request: Request, stopped: Stopped) -> Response:
        lang = taste_of(request, "us").lang
        name = f"people.stopped.{stopped.kind}"
        what, do = words.say(name, lang), words.say(f"{name}-do", lang)
        answer = refuse(request, stopped.status, (Fault(where=request.url.path, what=what, do=do),))
        if stopped.retry_s:
            answer.headers["Retry-After"] = str(stopped.retry_s)
        if stopped.status == 401:
            answer.headers["WWW-Authenticate"] = 'Device realm="tackfree"'
        return answer

    @app.exception_handler(ToolError)
    async def tool_error(request: Request, error: ToolError) -> Response:
        status = 404 if isinstance(error, NotFound) else 400
        if isinstance(error, DamagedError):
            status = 503  # a phone keeps what it has and tries again later
        if isinstance(error, people.TooOften):
            status = 429
        return refuse(request, status, error.faults)

    @app.exception_handler(HTTPException)
    async def http_error(request: Request, error: HTTPException) -> Response:
        where = request.url.path
        if error.status_code == 405:
            answer = refuse(request, 405, said(request, "no-method", where, method=request.method))
            answer.headers["Allow"] = _methods(app.routes, request)
            return answer
        return refuse(request, error.status_code, said(request, "no-page", where))

    @app.exception_handler(RequestValidationError)
    async def bad_request(request: Request, error: RequestValidationError) -> Response:
        lang = taste_of(request, "us").lang
        return refuse(request, 400, tuple(
            Fault(
                where=".".join(map(str, one["loc"])),
                what=words.say("page.error.bad-value", lang, why=str(one["msg"])),
                do=words.say("page.error.bad-value-do", lang),
            )
            for one in error.errors()
        ))  # fmt: skip

    async def stops(request: Request) -> Response | None:
        host = request.headers.get("host", "").rsplit(":", 1)[0] or "?"
        if "*" not in hosts and host not in hosts:
            return refuse(request, 400, said(request, "bad-host", "Host", host=repr(host[:80])))
        if request.method not in ("GET", "HEAD") and not _from_here(request):
            return refuse(request, 403, said(request, "other-site", "Origin"))
        stopped = await _caller(site, request)
        return stop(request, stopped) if stopped else None

    def says(request: Request, error: Exception) -> Response:
        if isinstance(error, ToolError):
            return refuse(request, 503, error.faults)
        if isinstance(error, ClientDisconnect):  # nothing of a part is taken
            return Response(status_code=400)
        return refuse(request, 500, said(request, "inside", request.url.path))

    app.add_middleware(Fence, stops=stops, says=says)


def _methods(routes: Iterable[BaseRoute], request: Request) -> str:
    """What the address of a request does take."""
    found: set[str] = set()
    for route in routes:
        inside = getattr(route, "original_router", None)
        if inside is not None:
            found |= set(filter(None, _methods(inside.routes, request).split(", ")))
        elif route.matches(request.scope)[0] != Match.NONE:
            found |= getattr(route, "methods", None) or set()
    return ", ".join(sorted(found))


def _from_here(request: Request) -> bool:
    """Whether a request that changes something comes from a page of ours, or bears a token.

    A page of another site can make a browser send requests here, but not without
    the name of that site in Origin, and not with a token it does not know.
    """
    origin = request.headers.get("origin")
    if origin is None:
        return "authorization" in request.headers
    return origin.partition("://")[2] == request.headers.get("host", "")


async def _caller(site: Site, request: Request) -> Stopped | None:
    """Write down who sends a request, or say why it stops here."""
    if not site.team:
        return None
    found = await run_in_threadpool(lambda: site.gate.let_in(site.desk.record, request))
    if isinstance(found, Caller):
        request.state.caller = found
        return None
    return found


def look_css() -> str:
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


def _font(name: str) -> bytes:
    return resources.files("tackfree").joinpath("assets", "fonts", name).read_bytes()


def _no_page(name: str) -> HTTPException:
    return HTTPException(404, name)
