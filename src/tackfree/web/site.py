"""The site that every room of the web app shares: what is built, and how a page is made."""

from __future__ import annotations

import gc
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date
from functools import cached_property
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape
from markupsafe import Markup
from starlette.requests import Request
from starlette.responses import Response

from tackfree import words
from tackfree.bundle.read import folder_of
from tackfree.errors import NotFound, ToolError
from tackfree.service import pages
from tackfree.service.kept import KeptPipeline
from tackfree.service.pages import Built, Reader
from tackfree.service.people import Caller, alone, may
from tackfree.service.recording.book import Book
from tackfree.service.recording.desk import Desk
from tackfree.web.asking import Taste, taste_of
from tackfree.web.gate import Gate

# Tabs of rooms with a router of their own, after those that show a build.
MORE = {
    "board": "/plan/board", "daily": "/daily", "price": "/price", "marks": "/marks",
    "film": "/film", "trace": "/trace", "ask": "/ask",
}  # fmt: skip
# Pages with a masthead of their own; people come to mind only where there is a team.
APART = {"field": "/field", "people": "/people"}
# The masthead in the order of the job; a part is one word of ``part`` in page.toml.
PARTS = {
    "measure": ("job", "trace", "deck"),
    "buy": ("materials", "price"),
    "schedule": ("weather", "clocks", "plan", "board"),
    "coat": ("marks", "shift", "field", "ask"),
    "record": ("daily", "film", "people"),
}
PATIENCE_S = 2.0  # a page waits so long for clocks that are still worked out
PATHS = {"job": "/", **{s: f"/{s}" for s in pages.STAGES if s != "job"}}
EVERY = PATHS | MORE | APART


@dataclass(kw_only=True)
class Site:
    """One output folder and its bundle, as the routers see them.

    ``today`` gives the date at the job's place; ``shelf`` keeps the last build read.
    ``team`` asks everybody who they are; without it one person uses this machine alone.
    ``beside``: outputs of other jobs, for the page that looks at several.
    """

    out: Path
    bundle: Path | None
    today: Callable[[ZoneInfo], date]
    templates: Environment
    shelf: dict[Any, Built] = field(default_factory=dict)
    team: bool = False
    beside: tuple[Path, ...] = ()
    gate: Gate = field(default_factory=Gate)

    @cached_property
    def desk(self) -> Desk:
        """The record of the bundle.

        Raises
        ------
        NotFound
            If the site shows an output folder alone.
        """
        if self.bundle is None or not self.bundle.exists():
            raise NotFound(
                "there is no job bundle here, so there is no record.",
                where="record",
                do="Serve the bundle of the job.",
            )
        return Desk(bundle=self.bundle)

    @cached_property
    def kept(self) -> KeptPipeline:
        """The stages of the bundle as it stands, worked out once for every room that asks.

        Raises
        ------
        NotFound
            If the site shows an output folder alone.
        """
        if self.bundle is None or not self.bundle.exists():
            raise NotFound(
                "there is no job bundle here, only what was built of it.",
                where="job",
                do="Serve the bundle of the job.",
            )
        return KeptPipeline(root=folder_of(self.bundle))

    @cached_property
    def book(self) -> Book:
        """The record as every page reads it: one fold and one set of clocks for all rooms."""
        return Book(desk=self.desk)

    def warm(self) -> None:
        """Read ahead what the first who opens a page would be kept waiting for."""
        try:
            self.built()
            now = self.book.now()
            now.of()  # in the order of time, kept
            self.book.clock_rows(now, patience_s=0.0)
        except ToolError:  # the pages say it themselves
            pass
        for name in self.templates.list_templates():
            self.templates.get_template(name)
        # What stays for good is not looked through again and again for what can go.
        gc.collect()
        gc.freeze()

    def caller(self, request: Request) -> Caller:
        """Who sent a request: the one person of this machine, or who the gate let in."""
        found: Caller = getattr(request.state, "caller", None) or alone()
        return found

    def built(self) -> Built:
        """The output folder, read again when it is rebuilt."""
        mark = pages.signature(self.out)
        if mark not in self.shelf:
            fresh = pages.read_out(self.out)
            self.shelf.clear()
            self.shelf[mark] = fresh
        return self.shelf[mark]

    def reader(self, request: Request) -> Reader:
        """Language, units and time zone of who reads."""
        found = self.built()
        taste = taste_of(request, found.units)
        return Reader(language=taste.lang, units=taste.units, zone=found.zone)

    def render(self, request: Request, template: str, **values: Any) -> Response:
        """A page of ours; ``say``, ``taste``, ``here``, ``to`` and ``masthead`` come with it.

        A template that extends ``frame.html`` gets the masthead; it needs ``title``,
        ``job_id`` and ``stage`` (the current one, or ""). It names only the pages that
        the caller may open.
        """
        taste = taste_of(request, self.built().units)
        reader = self.reader(request)
        html = self.templates.get_template(template).render(
            say=reader.say, here=_here(request), to=_to(request),
            masthead=self._masthead(request, reader, values.get("stage", "")),
            **{"taste": taste, **values},
        )  # fmt: skip
        return _keep(Response(html, media_type="text/html; charset=utf-8"), request, taste)

    def _masthead(self, request: Request, reader: Reader, stage: str) -> list[dict[str, Any]]:
        """The parts of the job, each with the pages that the caller may open."""
        who, to = self.caller(request), _to(request)
        found = []
        for part, stages in PARTS.items():
            links = [
                {
                    "path": path if s in APART else to(path),
                    "name": reader.say(f"stage.{s}"),
                    "here": s == stage or path == request.url.path,
                }
                for s in stages
                for path in [EVERY[s]]
                if may(who, "GET", path) and (s != "people" or self.team)
            ]
            if links:
                here = any(link["here"] for link in links)
                found.append({"name": reader.say(f"part.{part}"), "here": here, "pages": links})
        return found


def templates() -> Environment:
    """The templates; undefined names are errors, everything is escaped."""
    found = Environment(
        loader=PackageLoader("tackfree.web", "templates"),
        autoescape=select_autoescape(default=True, default_for_string=True),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    found.globals["languages"] = words.names()
    found.filters["drawing"] = Markup  # cleaned by service.pages.drawing
    return found


def _keep(answer: Response, request: Request, taste: Taste) -> Response:
    """Remember what the address asked for, for the pages that follow."""
    for name, value in (("lang", taste.lang), ("units", taste.units), ("ground", taste.ground)):
        if request.query_params.get(name) == value:
            answer.set_cookie(
                f"tackfree-{name}", value, max_age=31_536_000, httponly=True, samesite="lax"
            )
    return answer


def _here(request: Request) -> Callable[..., str]:
    """Address of this page with some parameters changed; None drops one."""

    def here(**changes: str | None) -> str:
        return _to(request)(request.url.path, **changes)

    return here


def _to(request: Request) -> Callable[..., str]:
    """Address of a page of ours, keeping the deck and day in view."""

    def to(path: str, **changes: str | None) -> str:
        kept: dict[str, str | None] = {
            k: request.query_params.get(k) for k in ("deck", "day", "shift", "surface", "zone")
        }
        if path != request.url.path:
            kept["shift"] = kept["surface"] = kept["zone"] = None
        kept.update(changes)
        url = request.url.replace(scheme="", netloc="", path=path, query="", fragment="")
        return str(url.include_query_params(**{k: v for k, v in kept.items() if v}))

    return to
