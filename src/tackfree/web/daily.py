"""Pages that the record drives: the day, a section, instruments, the inspector's spots."""

from __future__ import annotations

import secrets
import threading
from datetime import date, datetime
from functools import partial
from typing import Annotated, Any
from urllib.parse import quote

from fastapi import APIRouter, Query
from fastapi.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from tackfree.errors import InputError
from tackfree.service import record as service
from tackfree.service.pages.frame import sections_of
from tackfree.service.people import NOT_KINDS, may
from tackfree.service.recording import day as days
from tackfree.service.recording import inspector
from tackfree.service.recording.day import Voice, voice_of
from tackfree.service.recording.instruments import instruments
from tackfree.service.recording.live import Live
from tackfree.service.recording.section import section_record
from tackfree.service.recording.standing import contradictions, standing
from tackfree.sheets.daily import RecordPaper, render_record_paper
from tackfree.web.asking import taste_of
from tackfree.web.people import form_of
from tackfree.web.site import PATIENCE_S, Site

PDF = "application/pdf"


def router(site: Site) -> APIRouter:
    """``/daily``, ``/section`` and what belongs to them."""
    routes = APIRouter()
    adding = threading.Lock()

    def voice(request: Request) -> Voice:
        taste = taste_of(request, site.built().units)
        return voice_of(site.desk.job, taste.lang, "si" if taste.units == "si" else "us")

    def show(request: Request, template: str, **values: Any) -> Response:
        return site.render(request, template, job_id=site.built().job_id, stage="daily",
                           tell=voice(request).word, **values)  # fmt: skip

    def paper_of(now: Live, on: date, said: Voice) -> RecordPaper:
        clashes = contradictions(site.built(), said, now, on)
        return days.day_paper(site.desk.job, now, on, said, len(site.desk.held()), clashes)

    def clocks_now(now: Live) -> tuple[tuple[Any, ...], bool]:
        """Rows of the plan and of the record, and whether the latter still come."""
        planned = tuple((site.built().stage("clocks") or {}).get("clocks", ()))
        logged = site.book.clock_rows(now, patience_s=PATIENCE_S)
        return (*planned, *(logged or ())), logged is None

    @routes.api_route("/daily", methods=["GET", "HEAD"], name="daily")
    def daily(request: Request) -> Response:
        now, said = site.book.now(), voice(request)
        written = _days(now, said)
        today = site.today(said.zone)
        on = _day(request.query_params.get("day"), written, today)
        paper = paper_of(now, on, said)
        at = datetime.now(said.zone).timestamp()
        stands, working = None, False
        if on == today:
            clocks, working = clocks_now(now)
            stands = standing(site.built(), site.reader(request), said, now, clocks, at)
        earlier = [d for d in written if d < on]
        later = [d for d in written if d > on]
        return show(
            request, "daily.html", title=paper.title, paper=paper, day=on.isoformat(),
            before=earlier[-1].isoformat() if earlier else "",
            after=later[0].isoformat() if later else "",
            first=written[0].isoformat() if written else on.isoformat(),
            sections=[s["id"] for s in sections_of(site.built())],
            stands=stands, working=working,
            brings=may(site.caller(request), "POST", "/daily/bring"),
        )  # fmt: skip

    @routes.api_route("/daily/report.pdf", methods=["GET", "HEAD"])
    def report(request: Request) -> Response:
        now, said = site.book.now(), voice(request)
        on = _day(request.query_params.get("day"), _days(now, said), site.today(said.zone))
        paper = paper_of(now, on, said)
        return _file(render_record_paper(paper), f"{site.desk.job.id}-{on}.pdf", PDF)

    @routes.api_route("/daily/letter.pdf", methods=["GET", "HEAD"])
    def letter(request: Request, since: str = "", until: str = "", to: str = "") -> Response:
        said = voice(request)
        first, last = _typed(since, "since"), _typed(until, "until")
        paper = days.delay_letter(site.desk.job, site.book.now(), first, last, said, to[:200])
        return _file(render_record_paper(paper), f"{site.desk.job.id}-delay-{last}.pdf", PDF)

    @routes.api_route("/daily/instruments", methods=["GET", "HEAD"])
    def tools(request: Request) -> Response:
        said = voice(request)
        found = instruments(site.book.now(), datetime.now(said.zone), said)
        return show(request, "daily-instruments.html", title=said.word("tools"), tools=found)

    @routes.api_route("/daily/inspector.zip", methods=["GET", "HEAD"])
    def copy(request: Request) -> Response:
        found = inspector.copy_of(site.desk.job, site.book.now(), voice(request))
        return _file(found, f"{site.desk.job.id}-inspector.zip", "application/zip")

    @routes.api_route("/section/{section_id}", methods=["GET", "HEAD"])
    def section(
        request: Request, section_id: str, before: Annotated[int | None, Query(ge=1)] = None
    ) -> Response:
        built, now, said = site.built(), site.book.now(), voice(request)
        at = datetime.now(said.zone).timestamp()
        clocks, working = clocks_now(now)
        page = section_record(
            built, site.reader(request), said, now, section_id, clocks, at_utc_s=at, before=before,
        )  # fmt: skip
        return show(
            request, "daily-section.html", title=said.word("section.title", section=section_id),
            page=page, sections=[s["id"] for s in sections_of(built)], newest=before is None,
            working=working,
        )  # fmt: skip

    @routes.api_route("/section/{section_id}/spots", methods=["GET", "HEAD"])
    def spots(request: Request, section_id: str) -> Response:
        built, said = site.built(), voice(request)
        floor = inspector.floor_of(sections_of(built), section_id)
        found = inspector.drawings(site.book.now(), floor, section_id)
        coats = [c["coat_id"] for c in (built.stage("materials") or {}).get("coats", ())
                 if c["section_id"] == section_id]  # fmt: skip
        role = site.caller(request).role
        draws = role != "owner" and "inspector-spots" not in NOT_KINDS.get(role, frozenset())
        return show(
            request, "daily-spots.html", title=said.word("spots.title", section=section_id),
            section=section_id, found=found, coats=coats, draws=draws,
            length=partial(said.value, kind="length", digits=1), coat_word=said.coat,
            who=site.caller(request).person,
        )  # fmt: skip

    @routes.post("/section/{section_id}/spots")
    async def draw(request: Request, section_id: str) -> Response:
        form = await form_of(request)
        who = site.caller(request).person

        def work() -> None:
            inspector.floor_of(sections_of(site.built()), section_id)
            body = inspector.spots_body(
                section_id, form.get("coat", ""), secrets.randbelow(2**31),
                form.get("count", ""), form.get("for", "") or who,
            )  # fmt: skip
            with adding:
                added = service.add(site.desk.bundle, kind="inspector-spots", body=body, person=who)
            if added.status != "stored":
                raise InputError(f"the record answers {added.status}.", where="record",
                                 do="Try again.")  # fmt: skip

        await run_in_threadpool(work)
        return RedirectResponse(f"/section/{quote(section_id)}/spots", 303)

    return routes


def _days(now: Live, said: Voice) -> list[date]:
    return sorted({now.moment(e).astimezone(said.zone).date() for e in now.counted})


def _day(text: str | None, written: list[date], today: date) -> date:
    """The day asked for; else today where something was written, else the last day with any."""
    if text:
        return _typed(text, "day")
    return today if today in written or not written else written[-1]


def _typed(text: str, where: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise InputError(f"{text[:40]!r} is not a date.", where=where,
                         do="Write it as 2027-04-20.") from None  # fmt: skip


def _file(data: bytes, name: str, media: str) -> Response:
    head = {"Content-Disposition": f'inline; filename="{name}"'}
    return Response(data, media_type=media, headers=head)
