"""Serve a team on the local network: the job by TLS, and one plain page to set phones up."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Callable
from datetime import UTC, datetime
from importlib import resources
from pathlib import Path

import segno
import uvicorn
from fastapi import FastAPI
from markupsafe import Markup
from starlette.requests import Request
from starlette.responses import Response

from tackfree import words
from tackfree.service.people import first_invitation
from tackfree.service.recording.desk import Desk
from tackfree.service.tls import Certificates, certificates
from tackfree.web.app import create_app, look_css
from tackfree.web.asking import taste_of
from tackfree.web.fence import HEADERS
from tackfree.web.site import templates


def set_up_page(kept: Certificates, address: str, job_id: str) -> FastAPI:
    """The one page that is served without TLS: certificate, its fingerprint, the steps."""
    app = FastAPI(docs_url=None, redoc_url=None, openapi_url=None)
    found = templates()

    @app.api_route("/", methods=["GET", "HEAD"])
    def page(request: Request) -> Response:
        taste = taste_of(request, "us")
        code = segno.make(address, micro=False).svg_inline(scale=5, border=4, light="#fff")
        html = found.get_template("people-lan.html").render(
            taste=taste, say=lambda name, /, **v: words.say(f"people.{name}", taste.lang, **v),
            job_id=job_id, fingerprint=kept.fingerprint, address=address, code=Markup(code),
        )  # fmt: skip
        return Response(html, media_type="text/html; charset=utf-8", headers=HEADERS)

    @app.api_route("/look.css", methods=["GET", "HEAD"])
    def tokens() -> Response:
        return Response(look_css(), media_type="text/css", headers=HEADERS)

    @app.api_route("/set-up.css", methods=["GET", "HEAD"])
    def style() -> Response:
        css = resources.files("tackfree.web").joinpath("static", "set-up.css").read_bytes()
        return Response(css, media_type="text/css", headers=HEADERS)

    @app.api_route("/tackfree-authority.crt", methods=["GET", "HEAD"])
    def authority() -> Response:
        return Response(kept.authority.read_bytes(), media_type="application/x-x509-ca-cert",
                        headers={"X-Content-Type-Options": "nosniff"})  # fmt: skip

    return app


def run_lan(
    out: Path, bundle: Path, names: tuple[str, ...], port: int,
    *, beside: tuple[Path, ...] = (), say: Callable[[str], None],
) -> None:  # fmt: skip
    """Serve by TLS on ``port`` and the set-up page on the port after it, until stopped."""
    kept = certificates(bundle / ".tackfree" / "tls", names, now=datetime.now(UTC))
    desk = Desk(bundle=bundle)
    address = f"https://{names[0]}:{port}"
    say(f"The job: {address}")
    say(f"Set up a phone: http://{_reachable(names)}:{port + 1}")
    say(f"Fingerprint of the certificate: {kept.fingerprint}")
    if code := first_invitation(desk.record):
        say(f"Nobody has joined yet. The office opens, once: {address}/join/{code}")
    job_id = desk.job.id
    desk.close()
    app = create_app(out, bundle, hosts=names, team=True, beside=beside)
    threading.Thread(target=app.state.site.warm, daemon=True).start()
    asyncio.run(_both(
        uvicorn.Config(app, host="0.0.0.0", port=port, log_level="warning", server_header=False,
                       ssl_certfile=kept.chain, ssl_keyfile=kept.key),
        uvicorn.Config(set_up_page(kept, address, job_id), host="0.0.0.0", port=port + 1,
                       log_level="warning", server_header=False),
    ))  # fmt: skip


def _reachable(names: tuple[str, ...]) -> str:
    """An address that a phone finds without a name service."""
    return next((n for n in names if n[0].isdigit() and not n.startswith("127.")), names[0])


async def _both(main: uvicorn.Config, page: uvicorn.Config) -> None:
    first, second = uvicorn.Server(main), uvicorn.Server(page)
    beside = asyncio.create_task(second.serve())
    try:
        await first.serve()
    finally:
        second.should_exit = True
        await beside
