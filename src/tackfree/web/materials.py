"""The price in the browser: to read, to change, to put back."""

from __future__ import annotations

import threading
from pathlib import Path
from typing import Any
from urllib.parse import parse_qsl

from fastapi import APIRouter
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import FileResponse, RedirectResponse, Response

from tackfree import words
from tackfree.bundle.read import folder_of
from tackfree.errors import Fault, Refused, ToolError
from tackfree.service import pages
from tackfree.service.pages.price import price_page
from tackfree.service.price_desk import PAPERS, PriceDesk
from tackfree.service.price_form import former_prices, price_form, put_back, save_prices
from tackfree.service.quote import price_list_mark
from tackfree.web.asking import asked_of
from tackfree.web.site import Site
from tackfree.words.faults import fault_in

BODY_MAX = 200_000  # bytes of a form
FIELDS_MAX = 5_000
MEDIA = {
    ".pdf": "application/pdf",
    ".xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
}


def router(site: Site) -> APIRouter:
    """Routes of the price page, its papers and its form."""
    routes = APIRouter()
    desks: dict[Path, PriceDesk] = {}
    saving = threading.Lock()

    def desk() -> PriceDesk:
        assert site.bundle is not None
        return desks.setdefault(site.bundle, PriceDesk(root=folder_of(site.bundle)))

    def changed() -> bool:
        """Whether the bundle's prices are not those of what is built."""
        built = site.built().stage("price")
        if built is None or site.bundle is None or not site.bundle.exists():
            return False
        now = price_list_mark(folder_of(site.bundle))
        return bool(now) and now != built.get("price_list", now)

    def shown(request: Request, refused: str = "") -> Response:
        asked_of(request)
        built, reader = site.built(), site.reader(request)
        moved = changed()
        can_edit = site.bundle is not None and (site.bundle / "job.toml").is_file()
        former = former_prices(site.bundle) if can_edit and site.bundle else None
        page = price_page(
            built, reader, desk().document() if moved else built.stage("price"),
            changed=moved, can_edit=can_edit, former=former.made[:16] if former else "",
            bundle=str(site.bundle or "BUNDLE"),
        )  # fmt: skip
        return _render(site, request, "materials-price.html", page=page, refused=refused)

    @routes.api_route("/price", methods=["GET", "HEAD"])
    def price(request: Request) -> Response:
        return shown(request)

    @routes.api_route("/price/file/{name}", methods=["GET", "HEAD"])
    def paper(name: str) -> Response:
        if name in PAPERS and changed():
            kind = MEDIA[Path(name).suffix]
            head = {"Content-Disposition": f'inline; filename="{name}"'}
            return Response(desk().paper(name), media_type=kind, headers=head)
        path = pages.file_of(site.out, name)
        return FileResponse(path, media_type=MEDIA.get(path.suffix), filename=path.name,
                            content_disposition_type="inline")  # fmt: skip

    @routes.api_route("/price/edit", methods=["GET", "HEAD"])
    def form(request: Request) -> Response:
        asked_of(request)
        return edit(request, price_form(_folder(site)), 200)

    def edit(request: Request, found: Any, status: int) -> Response:
        built, reader = site.built(), site.reader(request)

        def told(fault: Fault) -> Fault:
            return fault_in(fault, reader.language)

        answer = _render(
            site, request, "materials-edit.html", form=found, told=told,
            title=words.say("price.page.edit", reader.language),
            job_id=built.job_id, stage="price",
        )  # fmt: skip
        answer.status_code = status
        return answer

    def save(request: Request, typed: dict[str, str]) -> Response:
        root, person = _folder(site), site.caller(request).person
        with saving:
            try:
                save_prices(root, typed, mark=typed.get("mark", ""), person=person)
            except ToolError as error:
                # What was typed stays; the mark is renewed, so that a second save is meant.
                return edit(request, price_form(root, typed, error.faults), 400)
        return RedirectResponse("/price", 303)

    @routes.post("/price/edit")
    async def change(request: Request) -> Response:
        typed = await _typed(request)
        return await run_in_threadpool(save, request, typed)

    @routes.post("/price/back")
    def back(request: Request) -> Response:
        with saving:
            put_back(_folder(site), person=site.caller(request).person)
        return RedirectResponse("/price", 303)

    return routes


def _folder(site: Site) -> Path:
    """The bundle as a folder that can be written.

    Raises
    ------
    Refused
        If the site has no bundle, or a packed one.
    """
    if site.bundle is None or not (site.bundle / "job.toml").is_file():
        raise Refused(
            [
                Fault(
                    where="price.toml",
                    what="this site shows a built job without a folder of its documents.",
                    do="Serve the job's folder: tackfree serve JOB.",
                )
            ]
        )
    return site.bundle


async def _typed(request: Request) -> dict[str, str]:
    """The fields of a posted form.

    Raises
    ------
    Refused
        If it is larger than any form of ours, or no form.
    """
    body = b""
    async for piece in request.stream():
        body += piece
        if len(body) > BODY_MAX:
            break
    try:
        if len(body) > BODY_MAX:
            raise ValueError
        pairs = parse_qsl(
            body.decode("utf-8"), keep_blank_values=True, errors="strict",
            max_num_fields=FIELDS_MAX,
        )  # fmt: skip
    except ValueError:
        raise Refused(
            [
                Fault(
                    where="form",
                    what=f"this is no form of up to {BODY_MAX // 1000} kB of text.",
                    do="Send the form of the page.",
                )
            ]
        ) from None
    return dict(pairs)


def _render(site: Site, request: Request, template: str, **values: Any) -> Response:
    language = site.reader(request).language

    def said(name: str, /, **more: Any) -> str:
        return words.say(f"price.{name}", language, **more)

    page = values.get("page")
    if page is not None:
        values |= {"title": page.title, "job_id": page.job_id, "stage": page.stage}
    return site.render(request, template, said=said, **values)
