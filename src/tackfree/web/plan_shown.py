"""What every page of the plan shares: the sheet in force, the drawing above, who may change."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from pathlib import Path
from typing import Any

from starlette.requests import Request
from starlette.responses import Response

from tackfree.errors import InputError, NotFound
from tackfree.service import pages
from tackfree.service.pages import PAGES
from tackfree.service.pages.calendar import calendar_of
from tackfree.service.pages.frame import chosen_day
from tackfree.service.people import may
from tackfree.service.plan_board import faces, stalls
from tackfree.service.plan_board.page import with_plan
from tackfree.service.plan_board.sheet import Sheet, built_sheet
from tackfree.web.asking import asked_of, taste_of
from tackfree.web.site import Site
from tackfree.words import say

WRITES = ("office", "foreman")  # roles that may move, search and save
STALLS = "planboard-stalls.html"


@dataclass(kw_only=True)
class PlanPages:
    """The plan's pages of one site; the plan is read again when it is rebuilt."""

    site: Site
    shelf: dict[Any, Sheet] = field(default_factory=dict)

    def sheet(self) -> Sheet:
        """The plan in force."""
        mark = pages.signature(self.site.out)
        if mark not in self.shelf:
            found = built_sheet(self.site.out)
            self.shelf.clear()
            self.shelf[mark] = found
        return self.shelf[mark]

    def language(self, request: Request) -> str:
        return taste_of(request, self.site.built().units).lang

    def may(self, request: Request) -> bool:
        return self.site.caller(request).role in WRITES

    def folder(self) -> bool:
        """Whether there is a bundle that can be written into."""
        return self.site.bundle is not None and self.site.bundle.is_dir()

    def shown(
        self, request: Request, template: str, plan: Sheet, view: Mapping[str, Any]
    ) -> Response:
        """A face of the plan under its drawing. Callables of ``view`` take the day and language."""
        site = self.site
        built = site.built()
        reader = site.reader(request)
        asked = asked_of(request)
        on = chosen_day(calendar_of(built), asked, site.today(built.zone))
        if asked.deck is None and on is not None:
            fullest = stalls.worst_deck if template == STALLS else stalls.busiest_deck
            asked = replace(asked, deck=fullest(plan, on))
        page = PAGES["plan"](
            with_plan(built, plan) if plan is not self.sheet() else built, reader, asked,
            site.today(built.zone), str(site.bundle or "BUNDLE"),
        )  # fmt: skip
        lang = reader.language

        def tell(name: str, **values: object) -> str:
            return say(f"planboard.{name}", lang, **values)

        day = next((date.fromisoformat(d.iso) for d in page.days if d.current), None)
        if template == STALLS:
            page = faces.stall_page(built, plan, page, day, reader)
        values = {k: v(day, lang) if callable(v) else v for k, v in view.items()}
        return site.render(request, template, job_id=page.job_id, stage="board", page=page,
                           several=may(site.caller(request), "GET", "/plan/jobs"),
                           tell=tell, **{"crews": (), "moves": "", **values})  # fmt: skip

    def writer(self, request: Request) -> tuple[Path, str]:
        """The bundle, and who writes into it.

        Raises
        ------
        InputError, NotFound
            If the caller's role only looks, or there is no bundle.
        """
        lang = self.language(request)
        if not self.may(request):
            raise InputError(say("planboard.roleless", lang), where="save",
                             do=say("planboard.look-only", lang))  # fmt: skip
        if self.site.bundle is None:
            raise NotFound(say("planboard.no-record", lang), where="save",
                           do=say("planboard.zip-do", lang))  # fmt: skip
        return self.site.bundle, self.site.caller(request).person
