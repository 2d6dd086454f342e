"""The faces of the plan: the board, the stall calendar, three weeks ahead, files."""

from __future__ import annotations

from datetime import datetime, time
from urllib.parse import urlencode

from fastapi import APIRouter
from fastapi.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from tackfree.errors import InputError
from tackfree.service.plan_board import ahead, faces, keep
from tackfree.service.plan_board.ask_page import ask_page
from tackfree.service.plan_board.moves import Judged, Move, judge, moves_text, read_moves
from tackfree.service.plan_board.page import board_page
from tackfree.service.plan_board.sheet import Sheet
from tackfree.web import plan_again, plan_questions
from tackfree.web.asking import asked_of, taste_of
from tackfree.web.plan_shown import PlanPages
from tackfree.web.site import Site
from tackfree.words import say

MEDIA = {
    ".pdf": "application/pdf",
    ".ics": "text/calendar",
    ".xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
}


def router(site: Site) -> APIRouter:
    """``/plan/board``, ``/plan/stalls``, ``/plan/ahead`` and ``/plan/paper``."""
    routes = APIRouter()
    plans = PlanPages(site=site)
    routes.include_router(plan_again.router(plans))
    routes.include_router(plan_questions.router(plans))
    sheet, shown = plans.sheet, plans.shown

    @routes.api_route("/plan/board", methods=["GET", "HEAD"], name="board")
    def board(request: Request) -> Response:
        base = sheet()
        moves = read_moves(request.query_params.get("moves", ""))
        if request.query_params.get("task"):
            return _moved(request, base, moves)
        judged = judge(base, moves)
        lang = plans.language(request)
        bundle, folder = site.bundle, plans.folder()
        held = keep.saved_moves(bundle, base.problem) if bundle and folder else ()
        by_hand = sum(not m.searched for m in held)
        return shown(request, "planboard.html", judged.sheet, {
            "title": say("planboard.title", lang),
            "view": lambda day, lang: board_page(base, judged, day, lang),
            "held": by_hand, "taken": len(held) > by_hand, "folder": folder,
            "writes": plans.may(request) and folder, "moves": moves_text(judged.moves),
            "crews": tuple(c.id for c in base.problem.crews),
        })  # fmt: skip

    @routes.post("/plan/board/save")
    async def save(request: Request) -> Response:
        form = {k: v for k, v in (await request.form(max_files=0, max_fields=8)).items()
                if isinstance(v, str)}  # fmt: skip
        lang = plans.language(request)

        def work() -> None:
            bundle, person = plans.writer(request)
            base = sheet()
            if form.get("act") == "forget":
                keep.forget_moves(bundle, base.job_id, person=person)
                return
            judged: Judged = judge(base, read_moves(form.get("moves", "")))
            keep.save_moves(bundle, judged, person=person, language=lang)

        await run_in_threadpool(work)
        return RedirectResponse("/plan/board", status_code=303)

    @routes.api_route("/plan/stalls", methods=["GET", "HEAD"], name="stalls")
    def stall_calendar(request: Request) -> Response:
        plan = sheet()
        return shown(request, "planboard-stalls.html", plan, {
            "title": lambda day, lang: say("planboard.stall.title", lang),
            "today": lambda day, lang: faces.stall_day_said(plan, day, lang) if day else None,
            "weeks": lambda day, lang: faces.stall_weeks(plan, lang),
        })  # fmt: skip

    @routes.api_route("/plan/ahead", methods=["GET", "HEAD"], name="ahead")
    def look_ahead(request: Request) -> Response:
        plan = sheet()
        return shown(request, "planboard-ahead.html", plan, {
            "title": lambda day, lang: say("planboard.ahead.title", lang),
            "view": lambda day, lang: ahead.look_ahead(plan, day, lang) if day else None,
        })  # fmt: skip

    @routes.api_route("/plan/ask", methods=["GET", "HEAD"], name="ask")
    def questions(request: Request) -> Response:
        plan, asked = sheet(), request.query_params
        try:
            short, by = int(asked.get("short", "1")), time.fromisoformat(asked.get("by", "14:00"))
        except ValueError:
            raise InputError("that is no count and time.", where="short, by",
                             do="Give them as 1 and 14:00.") from None  # fmt: skip
        built = site.built()
        units = site.reader(request).units
        return shown(request, "planboard-ask.html", plan, {
            "title": lambda day, lang: say("planboard.ask.title", lang),
            "view": lambda day, lang: ask_page(
                built, plan, site.bundle, day or site.today(built.zone), short=short, by=by,
                language=lang, units=units,
            ),
        })  # fmt: skip

    @routes.api_route("/plan/paper/{name}", methods=["GET", "HEAD"])
    def paper(request: Request, name: str) -> Response:
        taste = taste_of(request, site.built().units)
        day = asked_of(request).day
        found = faces.paper(sheet(), name, day=day, language=taste.lang,
                            letter=taste.units == "us")  # fmt: skip
        kind = MEDIA["." + name.rsplit(".", 1)[-1]]
        head = {"Content-Disposition": f'inline; filename="{name}"'}
        return Response(found, media_type=kind, headers=head)

    return routes


def _moved(request: Request, base: Sheet, moves: tuple[Move, ...]) -> Response:
    """A form's move put behind the others; the answer is the board's own address."""
    asked = request.query_params
    try:
        at = datetime.fromisoformat(asked.get("to", ""))
    except ValueError:
        raise InputError(f"{asked.get('to', '')[:30]!r} is no date and time.", where="to",
                         do="Give them as 2027-04-20T07:00.") from None  # fmt: skip
    move = Move(task_id=asked["task"][:120], start=base.slot_of(at), crew_id=asked.get("crew", ""))
    text = moves_text(read_moves(moves_text((*moves, move))))
    kept = {k: v for k in ("deck", "day") if (v := asked.get(k))}
    return RedirectResponse(f"/plan/board?{urlencode({**kept, 'moves': text})}", status_code=303)
