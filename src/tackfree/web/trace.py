"""The tracing editor: bring a drawing, calibrate it, trace, and save the deck."""

from __future__ import annotations

import asyncio
import json
import re
from collections.abc import Callable
from typing import Any

from fastapi import APIRouter
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from tackfree import words
from tackfree.errors import Fault, InputError, NotFound, Refused, ToolError
from tackfree.service.save import to_json
from tackfree.service.trace import bring, ground, keep, said, sent, state
from tackfree.service.trace.judge import reading_root, root_of
from tackfree.service.trace.page import Wanted, trace_page
from tackfree.service.trace.refuse import NotTaken, rows_of
from tackfree.units import System
from tackfree.web.asking import ID, asked_of, taste_of
from tackfree.web.site import Site

SMALL_BYTES = 20_000
NAME = re.compile(r"^[A-Za-z0-9][A-Za-z0-9._-]{0,119}$")


def router(site: Site) -> APIRouter:
    """Every route of the room, under /trace."""
    routes = APIRouter(prefix="/trace")

    @routes.api_route("", methods=["GET", "HEAD"], name="trace")
    def page(request: Request) -> Response:
        asked = asked_of(request)
        query = request.query_params
        number = _page_of(request)
        wanted = Wanted(
            deck=_deck_id(query["open"]) if "open" in query else asked.deck or "",
            new=query.get("new") == "1",
            begin=query.get("begin") == "1",
            drawing=_file(query["drawing"]) if query.get("drawing") else "",
            page=number,
        )
        found = trace_page(site.bundle, wanted, taste_of(request, "us").lang)
        taste = taste_of(request, found.units)
        return site.render(
            request, "trace.html", page=found, taste=taste, job_id=found.job_id, stage="trace",
            title=words.say("trace.title", taste.lang),
            t=lambda name, /, **v: words.say(f"trace.{name}", taste.lang, **v),
        )  # fmt: skip

    @routes.get("/words")
    def said_words(request: Request) -> Response:
        lang = _lang(request)
        found = {
            k.removeprefix("trace.js."): words.say(k, lang)
            for k in words.catalogue("en")
            if k.startswith("trace.js.")
        }
        for area in ("duty", "exposure"):
            names = [k for k in words.catalogue("en") if k.startswith(f"page.{area}.")]
            found |= {k.removeprefix("page."): words.say(k, lang) for k in names}
        kinds = [k for k in words.catalogue("en") if k.startswith("trace.kind.")]
        found |= {k.removeprefix("trace."): words.say(k, lang) for k in kinds}
        return JSONResponse(found)

    @routes.get("/deck/{deck_id}")
    def deck(request: Request, deck_id: str) -> Response:
        root = reading_root(site.bundle)
        _deck_id(deck_id)
        if request.query_params.get("new") == "1":
            drawing = request.query_params.get("drawing") or None
            name = _file(drawing) if drawing else None
            found = state.new_state(root, deck_id, name, _page_of(request))
        else:
            found = state.state_of(root, deck_id)
        found["notes"] = [words.say(m["id"], _lang(request), **m["values"])
                          for m in found.pop("messages")]  # fmt: skip
        return JSONResponse(found)

    @routes.get("/ground/{name}")
    def ground_of(request: Request, name: str) -> Response:
        decks = reading_root(site.bundle) / "decks"
        return JSONResponse(to_json(ground.ground_of(decks, _file(name), _page_of(request))))

    @routes.get("/picture/{name}")
    def picture(request: Request, name: str) -> Response:
        decks = reading_root(site.bundle) / "decks"
        small = request.query_params.get("small") == "1"
        shown = ground.picture_of(decks, _file(name), _page_of(request), small=small)
        return Response(shown.png, media_type="image/png")

    @routes.get("/lines/{name}")
    def lines(request: Request, name: str) -> Response:
        decks = reading_root(site.bundle) / "decks"
        found = ground.lines_of(decks, _file(name), _page_of(request))
        return JSONResponse(
            {
                "points": found.points.ravel().tolist(),
                "chains": [c.ravel().tolist() for c in found.chains],
            }
        )

    @routes.put("/drawing/{name}")
    async def drawing(request: Request, name: str) -> Response:
        shown = name[:120]

        def begin() -> bring.Incoming:
            _may_change(site, request)
            return bring.Incoming(folder=root_of(site.bundle) / "decks", name=shown)

        async def take() -> bring.Brought:
            length = request.headers.get("content-length", "")
            if length.isdigit() and int(length) > bring.LARGEST_BYTES:
                raise NotTaken("too-large", where=shown, most=bring.LARGEST_BYTES // 1_000_000)
            incoming = await run_in_threadpool(begin)
            try:
                async for chunk in request.stream():
                    incoming.write(chunk)
            except BaseException:
                incoming.drop()
                raise
            return await run_in_threadpool(incoming.keep)

        return await _answer(request, take)

    @routes.post("/length")
    async def length(request: Request) -> Response:
        async def read() -> dict[str, Any]:
            body = await _json(request, SMALL_BYTES)
            return said.length_said(str(body.get("text", "")), _system(request))

        return await _answer(request, read)

    @routes.post("/scale")
    async def scale(request: Request) -> Response:
        async def read() -> dict[str, Any]:
            body = await _json(request, SMALL_BYTES)
            try:
                lengths = [
                    ((float(c["start"][0]), float(c["start"][1])),
                     (float(c["end"][0]), float(c["end"][1])), str(c["length"]))
                    for c in body["lengths"]
                ]  # fmt: skip
            except (KeyError, TypeError, ValueError, IndexError) as fault:
                raise _no_json() from fault
            return said.scale_said(
                lengths, stretched=body.get("stretched") is True, file=str(body.get("file", ""))
            )

        return await _answer(request, read)

    @routes.post("/check")
    async def check(request: Request) -> Response:
        async def judged() -> dict[str, Any]:
            found = sent.read_sent(await _body(request, sent.LARGEST_BYTES))
            verdict = await run_in_threadpool(keep.check, reading_root(site.bundle), found)
            return said.takeoff_said(verdict, _system(request), _lang(request))

        return await _answer(request, judged)

    @routes.put("/deck/{deck_id}")
    async def save(request: Request, deck_id: str) -> Response:
        async def saved() -> dict[str, Any]:
            found = sent.read_sent(await _body(request, sent.LARGEST_BYTES))
            if found.id != deck_id:
                raise _no_json()
            over = request.query_params.get("over") == "1"
            person, root = _may_change(site, request), root_of(site.bundle)
            done = await run_in_threadpool(lambda: keep.save(root, found, over=over, person=person))
            verdict = said.takeoff_said(done.verdict, _system(request), _lang(request))
            return {"base": done.base, "revision": done.revision, **verdict}

        return await _answer(request, saved)

    @routes.delete("/deck/{deck_id}")
    async def put_away(request: Request, deck_id: str) -> Response:
        async def gone() -> dict[str, Any]:
            base = request.query_params.get("base", "")
            person, root = _may_change(site, request), root_of(site.bundle)
            done = await run_in_threadpool(
                lambda: keep.put_away(root, deck_id, base, person=person)
            )
            return {"revision": done}

        return await _answer(request, gone)

    @routes.get("/former/{deck_id}")
    def formers(request: Request, deck_id: str) -> Response:
        return JSONResponse(to_json(keep.former(root_of(site.bundle), _deck_id(deck_id))))

    @routes.get("/former/{deck_id}/{number}")
    def former(request: Request, deck_id: str, number: int) -> Response:
        found = keep.former_state(root_of(site.bundle), _deck_id(deck_id), number)
        found["notes"] = [words.say(m["id"], _lang(request), **m["values"])
                          for m in found.pop("messages")]  # fmt: skip
        return JSONResponse(found)

    return routes


async def _answer(request: Request, work: Callable[[], Any]) -> Response:
    """What the work gives as JSON, or its refusal in the reader's language."""
    try:
        return JSONResponse(to_json(await work()))
    except NotTaken as fault:
        status = {"changed": 409, "too-large": 413, "role": 403}.get(fault.id, 400)
        return _refused(status, fault.faults_in(_lang(request)))
    except NotFound as fault:
        return _refused(404, fault.faults)
    except ToolError as fault:
        return _refused(400, fault.faults)


def _may_change(site: Site, request: Request) -> str:
    """The name under which a deck is changed; only office and foreman do."""
    who = site.caller(request)
    if who.role not in ("office", "foreman"):
        raise NotTaken("role", where="decks")
    return who.person


def _refused(status: int, faults: tuple[Fault, ...]) -> Response:
    body = {"schema": "tackfree.refused/1", "refused": rows_of(faults)}
    return JSONResponse(body, status_code=status)


async def _body(request: Request, most: int) -> bytes:
    """A body no longer than ``most`` bytes, counted while it comes."""
    out = bytearray()
    async for chunk in request.stream():
        out += chunk
        if len(out) > most:
            raise NotTaken("too-large", where="body", most=max(1, most // 1_000_000))
        await asyncio.sleep(0)
    return bytes(out)


async def _json(request: Request, most: int) -> dict[str, Any]:
    try:
        found = json.loads(await _body(request, most))
    except (ValueError, RecursionError) as fault:
        raise _no_json() from fault
    if not isinstance(found, dict):
        raise _no_json()
    return found


def _no_json() -> InputError:
    return InputError("this is not what the editor sends.", where="body", do="Open it again.")


def _lang(request: Request) -> str:
    return taste_of(request, "us").lang


def _system(request: Request) -> System:
    return "si" if taste_of(request, "us").units == "si" else "us"


def _page_of(request: Request) -> int:
    text = request.query_params.get("page", "1")
    if not re.fullmatch(r"[1-9]\d{0,3}", text):
        raise Refused(
            [Fault(where="page", what=f"{text[:20]!r} is no page.", do="Write a whole number.")]
        )
    return int(text)


def _deck_id(text: str) -> str:
    if not ID.match(text):
        raise Refused(
            [
                Fault(
                    where="deck",
                    what=f"{text[:40]!r} is no id of a deck.",
                    do="Use capitals, digits and hyphens only.",
                )
            ]
        )
    return text


def _file(name: str) -> str:
    if not NAME.match(name):
        raise NotFound("there is no such drawing.", where=name[:80], do="Bring the drawing again.")
    return name
