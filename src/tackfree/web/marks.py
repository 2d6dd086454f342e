"""The marks page: tap a cell when its kit goes in; everything also works as plain forms."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

from fastapi import APIRouter
from fastapi.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from tackfree import words
from tackfree.bundle.read import folder_of
from tackfree.errors import InputError, NotFound
from tackfree.service.kept import KeptPipeline
from tackfree.service.marks import lay_choices
from tackfree.service.marks_book import MarksBook
from tackfree.service.marks_choice import choices_view
from tackfree.service.marks_live import Draft, Film, Live, reached, tap, through, undo
from tackfree.service.marks_page import Json, distance_m, numbers_in, view_of
from tackfree.service.marks_papers import document
from tackfree.service.marks_parts import film_of
from tackfree.service.marks_types import Marks
from tackfree.service.save import to_json
from tackfree.units import System
from tackfree.web.asking import taste_of
from tackfree.web.site import Site

WRITES = ("office", "foreman", "crew")  # roles that may mark


def router(site: Site) -> APIRouter:
    """``/marks`` and what its forms send."""
    routes = APIRouter()
    kept: list[MarksBook] = []
    worked_out: dict[Path, KeptPipeline] = {}

    def book() -> MarksBook:
        if not kept:
            try:
                desk = site.desk
            except NotFound:
                desk = None
            kept.append(MarksBook(out=site.out, desk=desk))
        return kept[0]

    def opened(section: str, coat: str) -> tuple[Json, Live]:
        layout = book().current(section, coat)
        return layout, book().live(layout, _film(site, section, coat))

    def laid(section: str, coat: str) -> tuple[Marks, ...]:
        """The best layouts of the bundle as it stands."""
        if site.bundle is None:
            raise NotFound("there is no job bundle here to lay marks of.", where="marks",
                           do="Serve the bundle of the job.")  # fmt: skip
        job = worked_out.setdefault(site.bundle, KeptPipeline(root=folder_of(site.bundle)))
        with job.lock:
            return lay_choices(job.pipeline(), section, coat)

    @routes.api_route("/marks", methods=["GET", "HEAD"], name="marks")
    def show(request: Request) -> Response:
        every = book().layouts()
        if not every:
            raise NotFound("no kit marks are built here.", where="marks", do="Build the job again.")
        section = request.query_params.get("section") or every[0]["section_id"]
        coat = request.query_params.get("coat") or next(
            (o["coat_id"] for o in every if o["section_id"] == section), ""
        )
        layout, live = opened(section, coat)
        taste = taste_of(request, site.built().units)
        system = _system(taste.units)
        view = view_of(layout, live, every, lang=taste.lang, system=system)

        def tell(name: str, **values: object) -> str:
            return words.say(f"marks.live.{name}", taste.lang, **values)

        answer = site.render(
            request, "marks.html", title=site.reader(request).say("stage.marks"),
            job_id=site.built().job_id, stage="marks", view=view, tell=tell,
            choice_link=words.say("marks.choice.link", taste.lang),
            writes=book().desk is not None and site.caller(request).role in WRITES,
        )  # fmt: skip
        # Forms of this page name its own site as their origin.
        answer.headers["Referrer-Policy"] = "same-origin"
        return answer

    @routes.api_route("/marks/choose", methods=["GET", "HEAD"])
    def compare(request: Request) -> Response:
        section = request.query_params.get("section", "")
        coat = request.query_params.get("coat", "")
        layout, live = opened(section, coat)
        taste = taste_of(request, site.built().units)
        found = choices_view(laid(section, coat), current=layout["id"], lang=taste.lang,
                             system=_system(taste.units))  # fmt: skip

        def tell(name: str, **values: object) -> str:
            return words.say(f"marks.choice.{name}", taste.lang, **values)

        answer = site.render(
            request, "marks-choose.html", title=site.reader(request).say("stage.marks"),
            job_id=site.built().job_id, stage="marks", choices=found, tell=tell, section=section,
            coat=coat, layout=layout["id"], begun=live.placed > 0,
            writes=book().desk is not None and site.caller(request).role in WRITES,
        )  # fmt: skip
        answer.headers["Referrer-Policy"] = "same-origin"
        return answer

    @routes.post("/marks/choose")
    async def choose(request: Request) -> Response:
        form = await _form(request)

        def work() -> None:
            layout, live = _same(opened, form)
            every = laid(form["section"], form["coat"])
            one = next((m for m in every if m.id == form.get("pick")), None)
            if one is None:
                raise InputError("that layout is not among the best any more.", where="pick",
                                 do="Open the page again and choose.")  # fmt: skip
            said = words.say("marks.choice.note", taste_of(request, "us").lang,
                             layout=one.id, old=layout["id"])  # fmt: skip
            chosen = to_json(document([one])["layouts"][0])
            book().choose(layout, live, chosen, said=said, person=_writer(site, request))

        await run_in_threadpool(work)
        return _back(form)

    async def act(request: Request, make: Callable[[Live, str], Sequence[Draft]]) -> Response:
        form = await _form(request)

        def work() -> None:
            layout, live = _same(opened, form)
            del layout
            book().add(make(live, form.get("cell", "")), _writer(site, request))

        await run_in_threadpool(work)
        return _back(form)

    @routes.post("/marks/tap")
    async def tapped(request: Request) -> Response:
        return await act(request, lambda live, cell: tap(live, _cell(cell)))

    @routes.post("/marks/through")
    async def marked_through(request: Request) -> Response:
        return await act(request, lambda live, cell: through(live, _cell(cell)))

    @routes.post("/marks/undo")
    async def undone(request: Request) -> Response:
        lang = taste_of(request, "us").lang
        reason = words.say("marks.live.undo-reason", lang)
        return await act(request, lambda live, cell: undo(live, _cell(cell), reason))

    @routes.post("/marks/reached")
    async def told(request: Request) -> Response:
        form = await _form(request)
        taste = taste_of(request, site.built().units)
        system = _system(taste.units)
        sign = -1.0 if form.get("side") == "short" else 1.0
        past = sign * distance_m(form.get("distance", ""), system)
        return await act(request, lambda live, cell: reached(live, _cell(cell), past))

    @routes.post("/marks/recut")
    async def cut(request: Request) -> Response:
        form = await _form(request)
        left_out = numbers_in(form.get("left_out", ""))

        def work() -> None:
            layout, live = _same(opened, form)
            us = site.built().units != "si"
            person = _writer(site, request)
            book().cut_anew(layout, live, left_out=left_out, us=us, person=person)

        await run_in_threadpool(work)
        return _back(form)

    return routes


def _system(units: str) -> System:
    return "si" if units == "si" else "us"


def _film(site: Site, section: str, coat: str) -> Film:
    stage: Any = site.built().stage("materials")
    found = film_of(stage["coats"] if stage else (), section, coat)
    return Film(wft_um=found[0], fill_um=found[1])


def _same(
    opened: Callable[[str, str], tuple[Json, Live]], form: dict[str, str]
) -> tuple[Json, Live]:
    """The layout that the form was made from, if it still is the one that counts."""
    layout, live = opened(form.get("section", ""), form.get("coat", ""))
    if form.get("layout") != layout["id"]:
        raise InputError("these marks were cut anew since.", where="layout",
                         do="Open the page again and look at the floor.")  # fmt: skip
    return layout, live


def _writer(site: Site, request: Request) -> str:
    who = site.caller(request)
    if who.role not in WRITES:
        raise InputError(f"the role {who.role} looks and does not mark.", where="marks",
                         do="Ask the foreman.")  # fmt: skip
    return who.person


def _cell(text: str) -> int:
    if not (text.isdigit() and len(text) <= 6):
        raise InputError(f"{text[:20]!r} is no cell.", where="cell", do="Give its number.")
    return int(text)


async def _form(request: Request) -> dict[str, str]:
    """The fields of a form, each a short text."""
    sent = await request.form(max_files=0, max_fields=20)
    found = {k: v for k, v in sent.items() if isinstance(v, str) and len(v) <= 2000}
    if "section" not in found or "coat" not in found:
        raise InputError("the form names no section and coat.", where="form",
                         do="Open the page again.")  # fmt: skip
    return found


def _back(form: dict[str, str]) -> Response:
    here = urlencode({"section": form["section"], "coat": form["coat"]})
    return RedirectResponse(f"/marks?{here}", status_code=303)
