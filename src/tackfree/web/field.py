"""The field page: a shell that a phone keeps, the job it works on, and its worker."""

from __future__ import annotations

import hashlib
import json
from importlib import resources
from typing import Any

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from tackfree.errors import NotFound
from tackfree.service.field import field_document, field_words, fresh_mark
from tackfree.service.marks_book import MarksBook
from tackfree.service.recording.desk import Desk
from tackfree.sheets import look
from tackfree.web.asking import asked_of, taste_of
from tackfree.web.site import Site

SCRIPTS = (
    "dom", "hash", "time", "units", "words", "air", "state", "clocks", "calendar", "db", "sync",
    "exif", "photo", "forms", "deck", "kit", "reading", "screens", "record",
)  # fmt: skip
# Everything the page needs to open without signal.
SHELL = (
    "/field",
    "/field/words",
    "/field/manifest",
    "/static/look.css",
    "/static/tackfree.css",
    "/static/field.css",
    "/static/icon.svg",
    "/static/icon-192.png",
    "/static/icon-512.png",
    "/static/B612-Regular.otf",
    "/static/B612-Bold.otf",
    "/static/drawing.js",
    "/static/field.js",
    *(f"/static/field-{name}.js" for name in SCRIPTS),
)


def router(site: Site) -> APIRouter:
    """``/field`` and what it fetches."""
    found = APIRouter()
    kept: dict[str, Any] = {}

    @found.api_route("/field", methods=["GET", "HEAD"], name="field")
    def field(request: Request) -> Response:
        asked_of(request)  # a bad address is refused as on every page
        taste = taste_of(request, "us")
        return site.render(
            request, "field.html", title=site.reader(request).say("stage.field"),
            job_id=site.built().job_id, stage="", scripts=SCRIPTS,
            ground_colour=(look.NIGHT if taste.ground == "night" else look.DAY)["ground"],
        )  # fmt: skip

    @found.api_route("/field/manifest", methods=["GET", "HEAD"])
    def manifest() -> Response:
        built = site.built()
        body = {
            "id": "/field",
            "name": f"Tackfree · {built.job_id}",
            "short_name": built.job_id[:12],
            "start_url": "/field",
            "scope": "/field",
            "display": "standalone",
            "background_color": look.DAY["ground"],
            "theme_color": look.DAY["ground"],
            "icons": [
                {"src": "/static/icon.svg", "sizes": "any", "type": "image/svg+xml"},
                *(
                    {
                        "src": f"/static/icon-{n}.png",
                        "sizes": f"{n}x{n}",
                        "type": "image/png",
                        "purpose": "any maskable",
                    }
                    for n in (192, 512)
                ),
            ],
        }
        return Response(json.dumps(body), media_type="application/manifest+json")

    @found.api_route("/field/words", methods=["GET", "HEAD"])
    def words() -> Response:
        return JSONResponse(field_words())

    @found.api_route("/api/field", methods=["GET", "HEAD"])
    def document() -> Response:
        built = site.built()
        mark = fresh_mark(built, site.bundle)
        if kept.get("mark") != mark:
            book = MarksBook(out=site.out, desk=_desk(site))
            kept.update(mark=mark, document=field_document(built, site.bundle, book))
        return JSONResponse(kept["document"])

    @found.api_route("/sw.js", methods=["GET", "HEAD"])
    def worker() -> Response:
        return Response(_worker(), media_type="text/javascript")

    return found


def _desk(site: Site) -> Desk | None:
    try:
        return site.desk
    except NotFound:
        return None


def _worker() -> str:
    """The worker with its list of files and a version that changes with any of them."""
    package = resources.files("tackfree.web")
    body = package.joinpath("static", "field-worker.js").read_text("utf-8")
    sums = [hashlib.sha256(json.dumps(field_words()).encode()), hashlib.sha256(body.encode())]
    sums.append(hashlib.sha256(package.joinpath("templates", "field.html").read_bytes()))
    for path in SHELL:
        name = path.removeprefix("/static/")
        entry = package.joinpath("static", name)
        if name != path and entry.is_file():
            sums.append(hashlib.sha256(entry.read_bytes()))
    version = hashlib.sha256(b"".join(s.digest() for s in sums)).hexdigest()[:16]
    return f"const VERSION = {json.dumps(version)};\nconst SHELL = {json.dumps(SHELL)};\n{body}"
