"""Pages of clocks: the live board of every section, and the strip chart of a zone."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime, time
from functools import partial
from typing import Any

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from tackfree.errors import NotFound, ToolError
from tackfree.record import people as rows_of_people
from tackfree.service import report
from tackfree.service.pages import Asked, Built
from tackfree.service.pages.calendar import calendar_of
from tackfree.service.pages.clock_lines import tell
from tackfree.service.pages.clocks import board_of, clocks_page, left_words, zones_of
from tackfree.service.pages.frame import chosen_day, sections_of
from tackfree.service.pages.said import local_day
from tackfree.service.pages.strip import strip_page
from tackfree.service.recording.standing import windows_of
from tackfree.sheets.window_calendar import windows_calendar
from tackfree.web.asking import asked_of
from tackfree.web.gate import Limiter, address_of
from tackfree.web.site import PATIENCE_S, Site

Json = Mapping[str, Any]


def router(site: Site) -> APIRouter:
    """The routes of this room over one site."""
    routes = APIRouter()
    guesses = Limiter(most=20, span_s=900)

    def rows(built: Built) -> tuple[tuple[Json, ...], bool]:
        """Clocks of the plan, then those of the record; and whether the latter still come.

        The pages show a built job: a bundle that has since been broken must not take
        the board away from those who coat by it.
        """
        planned = tuple((built.stage("clocks") or {}).get("clocks", ()))
        try:
            book = site.book
            logged = book.clock_rows(book.now(), patience_s=PATIENCE_S)
        except ToolError:  # an output folder alone, or a bundle that cannot be read
            return planned, False
        return (*planned, *(logged or ())), logged is None

    @routes.api_route("/clocks", methods=["GET", "HEAD"])
    def board(request: Request) -> Response:
        built, reader = site.built(), site.reader(request)
        asked = asked_of(request)
        every, working = rows(built)
        at, running = _moment(site, built, asked, request)
        plan, day = calendar_of(built), local_day(at, built.zone)
        if asked.day is None and plan and day in plan.days():
            asked = replace(asked, day=day)  # the drawing shows the board's day
        stop = request.query_params.get("stop") or None
        halt = None if stop is None else report.moment(stop, built.zone, "stop").timestamp()
        page = clocks_page(
            built, reader, asked, site.today(built.zone), str(site.bundle or "BUNDLE"), every
        )
        shown = board_of(
            reader, every, sections_of(built), at_utc_s=at, live=running, stop_utc_s=halt
        )
        return site.render(
            request, "clocks.html", page=page, board=shown, left=left_words(reader),
            zones=zones_of(built, page.deck_id), tell=partial(tell, reader),
            working=working, title=page.title, job_id=page.job_id, stage=page.stage,
        )  # fmt: skip

    def windows(request: Request) -> Response:
        built, reader = site.built(), site.reader(request)
        found = windows_of(built, reader, rows(built)[0])
        body = windows_calendar(built.job_id, built.job_name, built.zone, found,
                                language=reader.language)  # fmt: skip
        name = f'inline; filename="{built.job_id}-windows.ics"'
        return Response(body, media_type="text/calendar; charset=utf-8",
                        headers={"Content-Disposition": name})  # fmt: skip

    @routes.api_route("/clocks/windows.ics", methods=["GET", "HEAD"])
    def calendar(request: Request) -> Response:
        return windows(request)

    @routes.api_route("/view/{token}/windows.ics", methods=["GET", "HEAD"])
    def subscribed(request: Request, token: str) -> Response:
        """The same for a calendar that keeps no cookies: the link of a view, with its end."""
        here = address_of(request)
        if guesses.wait_s(here) or rows_of_people.by_view(site.desk.record, token) is None:
            guesses.mark(here)
            raise NotFound("this link is over, or was never made.", where="view",
                           do="Ask the contractor for a new one.")  # fmt: skip
        return windows(request)

    @routes.api_route("/strip", methods=["GET", "HEAD"])
    def strip(request: Request) -> Response:
        built, reader = site.built(), site.reader(request)
        asked = asked_of(request)
        at, running = _moment(site, built, asked, request)
        every, working = rows(built)
        found = strip_page(
            built, reader, asked, site.today(built.zone), str(site.bundle or "BUNDLE"),
            zone_id=request.query_params.get("zone"), clocks=every,
            now_utc_s=at if running else None,
        )  # fmt: skip
        page = found.page
        return site.render(
            request, "strip.html", page=page, strip=found, title=page.title,
            tell=partial(tell, reader), working=working,
            job_id=page.job_id, stage=page.stage,
        )  # fmt: skip

    return routes


def _moment(site: Site, built: Built, asked: Asked, request: Request) -> tuple[float, bool]:
    """The moment asked for; else now, where the plan holds it; else noon of its first day."""
    text = request.query_params.get("at")
    if text:
        return report.moment(text, built.zone, "at").timestamp(), False
    now = datetime.now(built.zone)
    today = site.today(built.zone)
    plan = calendar_of(built)
    if asked.day is None and now.date() == today and plan and today in plan.days():
        return now.timestamp(), True
    day = chosen_day(plan, asked, today)
    if day is None:  # no plan: the page says what is missing
        return now.timestamp(), False
    return datetime.combine(day, time(12), built.zone).timestamp(), False
