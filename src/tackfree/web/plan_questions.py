"""Long questions about the plan, and several jobs side by side."""

from __future__ import annotations

from datetime import datetime

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from tackfree.errors import NotFound
from tackfree.service.plan_board import jobs
from tackfree.service.plan_board.inquiry_page import inquiry_page
from tackfree.service.plan_board.sheet import built_sheet
from tackfree.service.planning.inquiry import KINDS, Inquiries
from tackfree.web.asking import asked_of
from tackfree.web.plan_shown import PlanPages
from tackfree.words import say

HERE = "/plan/why"


def router(plans: PlanPages) -> APIRouter:
    """``/plan/why`` and ``/plan/jobs``."""
    routes = APIRouter()
    inquiries = Inquiries(out=plans.site.out)

    def page(request: Request, template: str) -> Response:
        last = inquiries.last()
        return plans.shown(request, template, plans.sheet(), {
            "title": lambda day, lang: say("planboard.why.title", lang),
            "view": lambda day, lang: inquiry_page(last, lang),
            "writes": plans.may(request) and plans.site.bundle is not None,
        })  # fmt: skip

    @routes.api_route(HERE, methods=["GET", "HEAD"], name="why")
    def whole(request: Request) -> Response:
        return page(request, "planboard-why.html")

    @routes.api_route(f"{HERE}/live", methods=["GET", "HEAD"])
    def live(request: Request) -> Response:
        return page(request, "planboard-why-live.html")

    @routes.post(HERE + "/{kind}")
    async def ask(request: Request, kind: str) -> Response:
        bundle, person = plans.writer(request)
        found = next((k for k in KINDS if k == kind), None)
        if found is None:
            raise NotFound("there is no such question.", where=kind[:40],
                           do=f"Ask one of {', '.join(KINDS)}.")  # fmt: skip
        form = await request.form(max_files=0, max_fields=4)
        asked = {k: v[:40] for k, v in form.items() if isinstance(v, str)}
        inquiries.ask(bundle, found, asked, person=person)
        return RedirectResponse(f"{HERE}#{found}", status_code=303)

    @routes.api_route("/plan/jobs", methods=["GET", "HEAD"], name="jobs")
    def several(request: Request) -> Response:
        here = plans.sheet()
        sheets = jobs.together([here, *map(built_sheet, plans.site.beside)])
        now = _from(request, plans)
        return plans.shown(request, "planboard-jobs.html", here, {
            "title": lambda day, lang: say("planboard.jobs.title", lang),
            "view": lambda day, lang: jobs.jobs_page(sheets, now, lang),
        })  # fmt: skip

    return routes


def _from(request: Request, plans: PlanPages) -> datetime:
    """The beginning of the day asked for, else of today at the job's place."""
    zone = plans.sheet().zone
    day = asked_of(request).day or plans.site.today(zone)
    return datetime(day.year, day.month, day.day, tzinfo=zone)
