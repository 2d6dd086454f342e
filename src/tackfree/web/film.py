"""The page of film evidence, live over the record, and its figure for the closeout."""

from __future__ import annotations

from datetime import datetime
from functools import partial

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from tackfree import words
from tackfree.service import report
from tackfree.service.film_page import FilmBook
from tackfree.sheets.kit_fan import kit_fan_svg
from tackfree.sheets.readings_curve import readings_curve_svg
from tackfree.units import System
from tackfree.web.asking import asked_of, taste_of
from tackfree.web.site import Site

WIDTHS = {"wide": 900.0, "narrow": 336.0}  # px of a picture on a desk and on a phone


def router(site: Site) -> APIRouter:
    """``/film`` with its figure and two pages more, ``/materials/forecast`` and its paper."""
    routes = APIRouter()
    book = FilmBook(bundle=site.bundle, kept=lambda: site.kept)

    def moment(request: Request) -> datetime:
        zone = site.built().zone
        text = request.query_params.get("at")
        return report.moment(text, zone, "at") if text else datetime.now(zone)

    @routes.api_route("/film", methods=["GET", "HEAD"], name="film")
    def show(request: Request) -> Response:
        taste = taste_of(request, site.built().units)
        asked = asked_of(request)
        page = book.page(
            system=_system(taste.units),
            language=taste.lang,
            now=moment(request),
            deck=asked.deck,
            coat=request.query_params.get("coat") or None,
            section=request.query_params.get("section") or None,
        )
        return site.render(
            request, "film.html", page=page, title=site.reader(request).say("stage.film"),
            job_id=site.built().job_id, stage="film",
            tell=partial(_tell, taste.lang),
            with_kits=site.caller(request).role in ("office", "foreman"),
        )  # fmt: skip

    @routes.api_route("/film/readings", methods=["GET", "HEAD"])
    def readings(request: Request) -> Response:
        taste = taste_of(request, site.built().units)
        asked_of(request)
        page = book.readings(
            request.query_params.get("section") or None, request.query_params.get("coat") or None,
            system=_system(taste.units), language=taste.lang,
        )  # fmt: skip
        curve = page.curve
        return site.render(
            request, "film-readings.html", page=page, title=_tell(taste.lang, "readings_title"),
            job_id=site.built().job_id, stage="film", tell=partial(_tell, taste.lang),
            invented=book.made().job.invented,
            pictures={
                prefix: readings_curve_svg(curve, width=px, type_px=17.0, prefix=prefix)
                for prefix, px in WIDTHS.items()
            } if curve else {},
        )  # fmt: skip

    @routes.api_route("/film/tests", methods=["GET", "HEAD"])
    def tests(request: Request) -> Response:
        taste = taste_of(request, site.built().units)
        page = book.tests(asked_of(request).deck, system=_system(taste.units), language=taste.lang)
        return site.render(
            request, "film-tests.html", page=page, title=_tell(taste.lang, "tests_title"),
            job_id=site.built().job_id, stage="film", tell=partial(_tell, taste.lang),
        )  # fmt: skip

    @routes.api_route("/film/figure.pdf", methods=["GET", "HEAD"])
    def figure(request: Request) -> Response:
        taste = taste_of(request, site.built().units)
        section = request.query_params.get("section", "")
        coat = request.query_params.get("coat", "")
        pdf = book.figure(
            section, coat, system=_system(taste.units), language=taste.lang, now=moment(request)
        )
        return Response(pdf, media_type="application/pdf")

    @routes.api_route("/materials/forecast", methods=["GET", "HEAD"])
    def kits(request: Request) -> Response:
        taste = taste_of(request, site.built().units)
        found = book.kits(language=taste.lang, now=moment(request), out=site.out)
        fans = {v.product_id: v.fan for v in found.views if v.fan is not None}
        return site.render(
            request, "film-kits.html", title=_tell(taste.lang, "kits_title"),
            job_id=site.built().job_id, stage="materials", views=found.views,
            notes=found.notes, earlier=found.earlier,
            as_of=found.as_of, invented=found.invented, tell=partial(_tell, taste.lang),
            pictures={
                prefix: {p: kit_fan_svg(f, width=px, type_px=17.0, prefix=f"{prefix}-{p}")
                         for p, f in fans.items()}
                for prefix, px in WIDTHS.items()
            },
        )  # fmt: skip

    @routes.api_route("/materials/forecast.pdf", methods=["GET", "HEAD"])
    def kits_pdf(request: Request) -> Response:
        taste = taste_of(request, site.built().units)
        found = book.kits(language=taste.lang, now=moment(request), out=site.out)
        return Response(book.kits_pdf(found, taste.lang), media_type="application/pdf")

    return routes


def _system(units: str) -> System:
    return "si" if units == "si" else "us"


def _tell(language: str, name: str, **values: object) -> str:
    return words.say(f"film.{name}", language, **values)
