"""The interface that phones and other programs use: entries, photos, who one is."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Mapping, Sequence
from typing import Annotated, Any

from fastapi import APIRouter, Path, Query
from fastapi.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from tackfree.errors import InputError
from tackfree.record.entries import BATCH_MAX, Entry, Held, Result
from tackfree.record.photos import LARGEST_BYTES, MEDIA
from tackfree.service.save import to_json
from tackfree.web import api_docs, openapi
from tackfree.web.asking import taste_of
from tackfree.web.site import Site

LARGEST_BATCH_BYTES = 8_000_000
PAGE_MAX = 1000
Sha = Annotated[str, Path(pattern=r"^[0-9a-f]{64}$", description="SHA-256 of the bytes, in hex.")]
# A picture is shown as a picture whatever else its bytes may be.
AS_PICTURE = {
    "Content-Security-Policy": "default-src 'none'; sandbox",
    "Cache-Control": "private, max-age=31536000, immutable",
}


def router(site: Site) -> APIRouter:
    """Routes under ``/api``, described at ``/api/openapi.json``."""
    routes = APIRouter()

    @routes.post("/api/entries", tags=["entries"], responses=openapi.TAKEN,
                 openapi_extra=openapi.TAKES, summary="Append a batch of entries")  # fmt: skip
    async def take(request: Request) -> Response:
        """Append at most 200 entries in one durable commit and answer for each.

        Sending the same entry again is safe. What cannot be right is kept raw and
        answered ``held``, with every fault; it never blocks the entries after it.
        """
        batch = _batch(await _body(request, LARGEST_BATCH_BYTES))
        sender = site.caller(request).sender
        taken = await asyncio.wrap_future(site.desk.hand_in(batch, sender=sender))
        lang = taste_of(request, "us").lang
        results = [_result(r, lang) for r in taken.results]
        return _json("tackfree.entries-taken/1", results=results, pos=taken.pos)

    @routes.get("/api/entries", tags=["entries"], responses=openapi.LISTED,
                summary="Entries after a position")  # fmt: skip
    def listed(
        after: Annotated[int, Query(ge=0, lt=2**53, description="Position read last.")] = 0,
        limit: Annotated[int, Query(ge=1, le=PAGE_MAX, description="At most so many.")] = 500,
    ) -> Response:
        """Entries of everybody in the order of arrival; ``next`` is asked for next."""
        found = site.desk.entries(after=after, limit=limit)
        rows = [row(e) for e in found]
        return _json("tackfree.entries/1", entries=rows, next=found[-1].pos if found else after)

    @routes.get("/api/held", tags=["entries"], responses=openapi.HELD,
                summary="What is held and not mended")  # fmt: skip
    def held() -> Response:
        """Entries kept raw, each with its reason."""
        return _json("tackfree.held/1", held=[_held_row(h) for h in site.desk.held()])

    @routes.put("/api/photos/{sha256}", tags=["photos"], responses=openapi.KEPT, status_code=201,
                openapi_extra=openapi.PICTURE, summary="Keep a photo")  # fmt: skip
    async def keep(request: Request, sha256: Sha) -> Response:
        """Keep a picture under the hash of its bytes: 201 when it is new, else 200."""
        data = await _body(request, LARGEST_BYTES)
        new = await run_in_threadpool(site.desk.photos.keep, sha256, data)
        return _json("tackfree.photo-kept/1", status=201 if new else 200, sha256=sha256, new=new)

    @routes.get("/api/photos/{sha256}", tags=["photos"], responses=openapi.SHOWN,
                summary="A photo as it was sent")  # fmt: skip
    def photo(sha256: Sha) -> Response:
        """The bytes as they came."""
        about = site.desk.photos.about(sha256)
        found = site.desk.photos.path(sha256)
        assert found is not None
        return Response(found.read_bytes(), media_type=about.media, headers=AS_PICTURE)

    @routes.get("/api/photos/{sha256}/small", tags=["photos"], responses=openapi.SHOWN,
                summary="A photo, small and upright")  # fmt: skip
    def small(sha256: Sha) -> Response:
        """A small JPEG without the notes of the camera."""
        copy = site.desk.photos.small_of(sha256)
        return Response(copy, media_type=MEDIA["jpg"], headers=AS_PICTURE)

    @routes.get("/api/photos/{sha256}/about", tags=["photos"], responses=openapi.ABOUT,
                summary="What a photo says of itself")  # fmt: skip
    def about(sha256: Sha) -> Response:
        """Size, and time and place as the camera wrote them."""
        return _json("tackfree.photo/1", **to_json(site.desk.photos.about(sha256)))

    @routes.get("/api/me", tags=["people"], responses=openapi.ME, summary="Who I am here")
    def me(request: Request) -> Response:
        """Person, role and device of the caller, and whether one or a team uses the record."""
        who = site.caller(request)
        return _json("tackfree.me/1", person=who.person, role=who.role, device=who.device,
                     mode=who.mode)  # fmt: skip

    @routes.get("/api/openapi.json", include_in_schema=False)
    def described() -> Response:
        return JSONResponse(openapi.describe(routes.routes))

    @routes.get("/api/docs", include_in_schema=False)
    def docs(request: Request) -> Response:
        found = openapi.describe(routes.routes)
        html = site.templates.get_template("api-docs.html").render(
            taste=taste_of(request, "us"), intro=api_docs.INTRO,
            operations=api_docs.operations(found), kinds=api_docs.kinds(found),
        )  # fmt: skip
        return Response(html, media_type="text/html; charset=utf-8")

    return routes


def row(e: Entry) -> dict[str, Any]:
    """An entry as the interface gives it."""
    return {
        "pos": e.pos, "id": e.id, "job": e.job_id, "device": e.device, "seq": e.seq,
        "person": e.person, "wall": e.wall, "zone": e.zone, "kind": e.kind, "v": e.v,
        "body": dict(e.body), "previous": e.previous, "sha": e.sha, "received": e.received,
    }  # fmt: skip


def _result(result: Result, lang: str) -> dict[str, Any]:
    faults = [d.said(lang) for d in result.doubts]
    return {
        "id": result.id,
        "status": result.status,
        "faults": [{"where": f.where, "what": f.what, "do": f.do} for f in faults],
    }


def _held_row(h: Held) -> dict[str, Any]:
    return {
        "pos": h.pos, "id": h.id, "device": h.device, "seq": h.seq, "raw": h.raw,
        "reason": h.reason, "received": h.received,
    }  # fmt: skip


def _json(schema: str, *, status: int = 200, **values: Any) -> Response:
    return JSONResponse({"schema": schema, **values}, status_code=status)


async def _body(request: Request, largest: int) -> bytes:
    """The body of a request, refused as soon as it is too large."""
    parts, size = [], 0
    async for part in request.stream():
        size += len(part)
        if size > largest:
            raise InputError(
                f"more than {largest / 1e6:.0f} MB came.", where="body", do="Send less at once."
            )
        parts.append(part)
    return b"".join(parts)


def _batch(raw: bytes) -> Sequence[Any]:
    """The entries of a body; they are looked at one by one later."""

    def no_constant(name: str) -> Any:
        raise ValueError(f"{name} is not JSON")

    try:
        sent = json.loads(raw, parse_constant=no_constant)
    except (ValueError, RecursionError) as error:
        raise InputError(
            "the body is no JSON.", where="body", do='Send {"entries": [...]}.'
        ) from error
    found = sent.get("entries") if isinstance(sent, Mapping) else None
    if not isinstance(found, list) or set(sent) != {"entries"}:
        raise InputError(
            "the body holds no list of entries, or something beside it.",
            where="entries",
            do=f'Send {{"entries": [...]}} with at most {BATCH_MAX} of them.',
        )
    return found
