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

from tackfree.service import live, pages, report
from tackfree.service.pages import Asked, Built
from tackfree.service.pages.calendar import calendar_of
from tackfree.service.pages.clock_lines import tell
from tackfree.service.pages.clocks import board_of, clocks_page, left_words, zones_of
from tackfree.service.pages.frame import chosen_day, sections_of
from tackfree.service.pages.said import local_day
from tackfree.service.pages.strip import strip_page
from tackfree.web.asking import asked_of
from tackfree.web.site import Site

Json = Mapping[str, Any]


def router(site: Site) -> APIRouter:
    """The routes of this room over one site."""
    routes = APIRouter()
    shelf: dict[Any, tuple[Json, ...]] = {}

    def rows(built: Built) -> tuple[Json, ...]:
        """Clocks of the plan, then those of the record; worked out again when it grows."""
        planned = tuple((built.stage("clocks") or {}).get("clocks", ()))
        if site.bundle is None:
            return planned
        seen = live.mark(site.bundle)
        key = (pages.signature(site.out), seen)
        if key not in shelf:
            shelf.clear()
            shelf[key] = live.record_rows(site.bundle) if seen else ()
        return (*planned, *shelf[key])

    @routes.api_route("/clocks", methods=["GET", "HEAD"])
    def board(request: Request) -> Response:
        built, reader = site.built(), site.reader(request)
        asked = asked_of(request)
        every = rows(built)
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
            title=page.title, job_id=page.job_id, stage=page.stage,
        )  # fmt: skip

    @routes.api_route("/strip", methods=["GET", "HEAD"])
    def strip(request: Request) -> Response:
        built, reader = site.built(), site.reader(request)
        asked = asked_of(request)
        at, running = _moment(site, built, asked, request)
        found = strip_page(
            built, reader, asked, site.today(built.zone), str(site.bundle or "BUNDLE"),
            zone_id=request.query_params.get("zone"), clocks=rows(built),
            now_utc_s=at if running else None,
        )  # fmt: skip
        page = found.page
        return site.render(
            request, "strip.html", page=page, strip=found, title=page.title,
            tell=partial(tell, reader),
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
