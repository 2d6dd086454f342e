"""Pages of people and devices: join, sign in, the office's list, the owner's view."""

from __future__ import annotations

from typing import Any
from urllib.parse import parse_qs

import segno
from fastapi import APIRouter
from fastapi.concurrency import run_in_threadpool
from markupsafe import Markup
from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response

from tackfree import words
from tackfree.errors import Fault, InputError, NotFound, Refused
from tackfree.record import people as rows
from tackfree.service import people as service
from tackfree.web.asking import taste_of
from tackfree.web.gate import DEVICE, SESSION, VIEW, YEAR_S, Limiter, address_of, keep
from tackfree.web.site import Site

LARGEST_FORM = 20_000


class TooOften(InputError):
    """Asked too often from one place."""


def router(site: Site) -> APIRouter:
    """``/people``, ``/join/…``, ``/view/…``, ``/sign-in`` and ``/sign-out``."""
    routes = APIRouter(include_in_schema=False)
    joins = Limiter(most=20, span_s=900)

    def page(request: Request, name: str, status: int = 200, **values: Any) -> Response:
        taste = taste_of(request, "us")
        html = site.templates.get_template(name).render(
            taste=taste, say=_saying(taste.lang), job_id=_job_id(site), **values
        )
        return Response(html, status, media_type="text/html; charset=utf-8",
                        headers={"Cache-Control": "no-store"})  # fmt: skip

    @routes.api_route("/people", methods=["GET", "HEAD"])
    def people(request: Request) -> Response:
        return page(request, "people.html", found=service.everybody(site.desk.record),
                    roles=service.ROLES, told=None, team=site.team)  # fmt: skip

    @routes.post("/people/invite")
    async def invite(request: Request) -> Response:
        form = await form_of(request)
        code = await run_in_threadpool(
            service.invite, site.desk.record, name=form.get("name", ""),
            role=form.get("role", ""), by=site.caller(request).person,
        )  # fmt: skip
        address = f"{_root(request)}/join/{code}"
        return _told(request, page, site, "invited", form.get("name", ""), address)

    @routes.post("/people/view")
    async def view(request: Request) -> Response:
        form = await form_of(request)
        try:
            days = float(form.get("days", "30"))
        except ValueError:
            days = 0.0
        token = await run_in_threadpool(
            service.view_link, site.desk.record, label=form.get("label", ""),
            by=site.caller(request).person, days=days,
        )  # fmt: skip
        address = f"{_root(request)}/view/{token}"
        return _told(request, page, site, "viewed", form.get("label", ""), address)

    @routes.post("/people/end")
    async def end(request: Request) -> Response:
        form = await form_of(request)
        for kind, act in (("device", rows.revoke_device), ("person", rows.end_person),
                          ("view", rows.revoke_view)):  # fmt: skip
            if name := form.get(kind):
                await run_in_threadpool(act, site.desk.record, name)
        return RedirectResponse("/people", 303)

    @routes.api_route("/join/{code}", methods=["GET", "HEAD"])
    def join(request: Request, code: str) -> Response:
        _not_too_often(joins, request)
        try:
            found = service.invited(site.desk.record, code)
        except NotFound:
            joins.mark(address_of(request))
            raise
        return page(request, "people-join.html", invitation=found, code=code,
                    needs_password=found.role == "office")  # fmt: skip

    @routes.post("/join/{code}")
    async def redeem(request: Request, code: str) -> Response:
        _not_too_often(joins, request)
        form = await form_of(request)
        try:
            caller, token = await run_in_threadpool(
                service.redeem, site.desk.record, code, device_name=form.get("device", ""),
                password=form.get("password", ""),
            )  # fmt: skip
        except NotFound:
            joins.mark(address_of(request))
            raise
        answer = JSONResponse({
            "schema": "tackfree.joined/1", "token": token, "device": caller.device,
            "person": caller.person, "role": caller.role,
        }, headers={"Cache-Control": "no-store"})  # fmt: skip
        keep(answer, request, DEVICE, token, YEAR_S)
        return answer

    @routes.api_route("/sign-in", methods=["GET", "HEAD"])
    def sign_in(request: Request) -> Response:
        return page(request, "people-sign-in.html", faults=())

    @routes.post("/sign-in")
    async def signed(request: Request) -> Response:
        form = await form_of(request)
        name, lang = form.get("name", ""), taste_of(request, "us").lang
        keys = (name.strip().lower(), address_of(request))
        if any(site.gate.names.wait_s(key) for key in keys):
            raise TooOften(words.say("people.stopped.too-often", lang), where="sign-in",
                           do=words.say("people.stopped.too-often-do", lang))  # fmt: skip
        found = await run_in_threadpool(
            service.sign_in, site.desk.record, name, form.get("password", "")[:200]
        )
        if found is None:
            for key in keys:
                site.gate.names.mark(key)
            fault = Fault(where="", what=words.say("people.sign-in.wrong", lang), do="")
            return page(request, "people-sign-in.html", 401, faults=(fault,))
        for key in keys:
            site.gate.names.forget(key)
        answer = RedirectResponse("/", 303)
        keep(answer, request, SESSION, found[1], int(service.SESSION_H * 3600))
        return answer

    @routes.post("/sign-out")
    async def sign_out(request: Request) -> Response:
        if token := request.cookies.get(SESSION):
            await run_in_threadpool(rows.close_session, site.desk.record, token)
        answer = RedirectResponse("/sign-in", 303)
        for name in (SESSION, VIEW):
            answer.delete_cookie(name, path="/")
        return answer

    @routes.api_route("/view/{token}", methods=["GET", "HEAD"])
    def look(request: Request, token: str) -> Response:
        _not_too_often(joins, request)
        if rows.by_view(site.desk.record, token) is None:
            joins.mark(address_of(request))
            raise NotFound("this link is over, or was never made.", where="view",
                           do="Ask the contractor for a new one.")  # fmt: skip
        answer = RedirectResponse("/", 303)
        keep(answer, request, VIEW, token, YEAR_S)
        return answer

    return routes


def _told(request: Request, page: Any, site: Site, kind: str, name: str, address: str) -> Response:
    """The list again, with an address that is shown this once, as letters and as a code."""
    drawn = segno.make(address, micro=False).svg_inline(scale=5, border=4, light="#fff")
    told = {"kind": kind, "name": name, "address": address, "code": Markup(drawn)}
    answer: Response = page(
        request, "people.html", found=service.everybody(site.desk.record), roles=service.ROLES,
        told=told, team=site.team,
    )  # fmt: skip
    return answer


def _saying(lang: str) -> Any:
    return lambda name, /, **v: words.say(f"people.{name}", lang, **v)


def _job_id(site: Site) -> str:
    return site.desk.job.id


def _root(request: Request) -> str:
    return f"{request.url.scheme}://{request.headers.get('host', '')}"


def _not_too_often(limiter: Limiter, request: Request) -> None:
    if limiter.wait_s(address_of(request)):
        lang = taste_of(request, "us").lang
        raise TooOften(words.say("people.stopped.too-often", lang), where=request.url.path[:40],
                       do=words.say("people.stopped.too-often-do", lang))  # fmt: skip


async def form_of(request: Request) -> dict[str, str]:
    """The fields of a form; every fault of its form in one refusal."""
    raw = b""
    async for part in request.stream():
        raw += part
        if len(raw) > LARGEST_FORM:
            raise InputError("the form is too long.", where="body", do="Write less.")
    try:
        found = parse_qs(raw.decode("utf-8"), keep_blank_values=True, strict_parsing=bool(raw),
                         max_num_fields=20)  # fmt: skip
    except ValueError as error:
        raise Refused([Fault(where="body", what="this is no form.", do="Use the page.")]) from error
    return {k: v[0] for k, v in found.items()}
