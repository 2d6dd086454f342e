"""Planning again from the plan board: begin, watch, stop, take or leave."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

from fastapi import APIRouter, FastAPI
from fastapi.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from tackfree.errors import InputError
from tackfree.service.plan_board.again_page import again_page
from tackfree.service.planning.searching import LIMITS_S, Again
from tackfree.web.plan_shown import PlanPages
from tackfree.words import say

HERE = "/plan/again"


def router(plans: PlanPages) -> APIRouter:
    """``/plan/again``: one search of the job at a time, whoever looks on."""
    again = Again(out=plans.site.out)

    @asynccontextmanager
    async def ended(app: FastAPI) -> AsyncIterator[None]:
        yield
        again.stop()  # a server that goes down keeps no search alive

    routes = APIRouter(lifespan=ended)

    def page(request: Request, template: str) -> Response:
        now = again.standing()
        proposed = now.sheet if now.state == "proposed" else None
        return plans.shown(request, template, proposed or plans.sheet(), {
            "title": lambda day, lang: say("planboard.again.title", lang),
            "view": lambda day, lang: again_page(now, lang),
            "writes": plans.may(request) and plans.folder(), "folder": plans.folder(),
        })  # fmt: skip

    @routes.api_route(HERE, methods=["GET", "HEAD"], name="again")
    def whole(request: Request) -> Response:
        return page(request, "planboard-again.html")

    @routes.api_route(f"{HERE}/live", methods=["GET", "HEAD"])
    def live(request: Request) -> Response:
        return page(request, "planboard-again-live.html")

    @routes.post(f"{HERE}/start")
    async def start(request: Request) -> Response:
        form = await request.form(max_files=0, max_fields=4)
        lang = plans.language(request)
        text = form.get("seconds", str(LIMITS_S[0]))
        limit = next((n for n in LIMITS_S if str(n) == text), None)
        if limit is None:
            raise InputError("that is no span to search for.", where="seconds",
                             do=f"Choose one of {', '.join(map(str, LIMITS_S))}.")  # fmt: skip
        bundle, person = plans.writer(request)
        again.start(bundle, limit_s=limit, person=person, language=lang)
        return RedirectResponse(HERE, status_code=303)

    @routes.post(f"{HERE}/stop")
    async def stop(request: Request) -> Response:
        plans.writer(request)
        again.stop()
        return RedirectResponse(HERE, status_code=303)

    @routes.post(f"{HERE}/leave")
    async def leave(request: Request) -> Response:
        plans.writer(request)
        again.leave()
        return RedirectResponse(HERE, status_code=303)

    @routes.post(f"{HERE}/take")
    async def take(request: Request) -> Response:
        bundle, person = plans.writer(request)
        lang = plans.language(request)
        await run_in_threadpool(lambda: again.take(bundle, person=person, language=lang))
        return RedirectResponse(HERE, status_code=303)

    return routes
