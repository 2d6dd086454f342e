"""Quick answers: a question, its fields, and the answer under them. No job needed."""

from __future__ import annotations

from functools import partial

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from tackfree import words
from tackfree.service.ask import asking_page
from tackfree.web.asking import taste_of
from tackfree.web.site import Site

LONGEST = 400  # letters of one answer; an hourly row of two days has 300


def router(site: Site) -> APIRouter:
    """``/ask``, and ``/ask/QUESTION`` with what was typed in the address."""
    routes = APIRouter()

    def shown(request: Request, question: str) -> Response:
        taste = taste_of(request, site.built().units)
        given = {k: v[:LONGEST] for k, v in request.query_params.items()}
        page = asking_page(question, given, "si" if taste.units == "si" else "us", taste.lang)
        return site.render(
            request, "ask.html", page=page, stage="ask", job_id=site.built().job_id,
            title=words.say("askpage.page", taste.lang), tell=partial(_tell, taste.lang),
        )  # fmt: skip

    @routes.api_route("/ask", methods=["GET", "HEAD"], name="ask")
    def questions(request: Request) -> Response:
        return shown(request, "")

    @routes.api_route("/ask/{question}", methods=["GET", "HEAD"])
    def one(request: Request, question: str) -> Response:
        return shown(request, question)

    return routes


def _tell(language: str, name: str, **values: object) -> str:
    return words.say(f"askpage.{name}", language, **values)
