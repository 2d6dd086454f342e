"""A page that takes tables in: gauge readings and a logger's memory, told before it is trusted."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fastapi import APIRouter
from fastapi.concurrency import run_in_threadpool
from starlette.datastructures import UploadFile
from starlette.requests import Request
from starlette.responses import Response

from tackfree.errors import Fault, InputError, Refused, ToolError
from tackfree.service.recording.csv_in import Brought, take_logger, take_readings
from tackfree.service.recording.csv_table import LARGEST, Upload
from tackfree.service.recording.day import Voice, voice_of
from tackfree.service.weather import mapping_of
from tackfree.web.asking import taste_of
from tackfree.web.site import Site
from tackfree.words.faults import fault_in

FIELDS = ("what", "person", "instrument", "place", "zone", "unit", "dates")


def router(site: Site) -> APIRouter:
    """``/daily/bring``."""
    routes = APIRouter()

    def show(
        request: Request, typed: Mapping[str, str], *, status: int = 200,
        faults: tuple[Fault, ...] = (), done: str = "",
    ) -> Response:  # fmt: skip
        said = _voice(site, request)
        answer = site.render(
            request, "daily-bring.html", title=said.word("bring.title"),
            job_id=site.built().job_id, stage="daily", tell=said.word, done=done,
            faults=[fault_in(f, said.language) for f in faults], zone=said.zone.key,
            typed={name: typed.get(name, "") for name in FIELDS},
            who=site.caller(request).person,
        )  # fmt: skip
        answer.status_code = status
        return answer

    @routes.api_route("/daily/bring", methods=["GET", "HEAD"])
    def page(request: Request) -> Response:
        return show(request, {})

    @routes.post("/daily/bring")
    async def take(request: Request) -> Response:
        length = request.headers.get("content-length", "")
        if not length.isdigit() or int(length) > LARGEST + 100_000:
            raise InputError("it has more than 20 MB.", where="file", do="Split it.")
        async with request.form(max_files=1, max_fields=12) as sent:
            typed = {k: v for k, v in sent.items() if isinstance(v, str) and len(v) <= 200}
            file = sent.get("file")
            if not isinstance(file, UploadFile) or not file.filename:
                fault = Fault(where="file", what="no file came.", do="Choose one.")
                return show(request, typed, status=400, faults=(fault,))
            upload = Upload(name=file.filename[:120], data=await file.read())
        try:
            brought = await run_in_threadpool(_taken, site, upload, typed)
        except ToolError as error:
            return show(request, typed, status=400, faults=error.faults)
        return show(request, {}, done=_done(_voice(site, request), brought))

    return routes


def _voice(site: Site, request: Request) -> Voice:
    taste = taste_of(request, site.built().units)
    return voice_of(site.desk.job, taste.lang, "si" if taste.units == "si" else "us")


def _taken(site: Site, upload: Upload, typed: Mapping[str, str]) -> Brought:
    bundle = site.desk.bundle
    day_first = {"day": True, "month": False}.get(typed.get("dates", ""))
    person = typed.get("person", "").strip()
    faults = []
    if len(person) < 2:
        faults.append(Fault(where="person", what="nobody is named.", do="Write who read it."))
    instrument = typed.get("instrument", "").strip()
    if typed.get("what") == "logger" and not instrument:
        faults.append(Fault(where="instrument", what="no instrument is named.",
                            do="Write its name."))  # fmt: skip
    if faults:
        raise Refused(faults)
    if typed.get("what") != "logger":
        return take_readings(bundle, upload, person=person, day_first=day_first)
    unit = typed.get("unit", "")
    units = [f"{c}={unit}" for c in ("surface_c", "air_c", "dew_c")] if unit else []
    columns = mapping_of(columns=[], units=units, time="", zone=typed.get("zone", ""),
                         day_first=day_first, decimal="", file=None)  # fmt: skip
    return take_logger(bundle, upload, person=person, instrument=instrument,
                       place=typed.get("place", "").strip() or None, columns=columns)  # fmt: skip


def _done(said: Voice, brought: Brought) -> str:
    counts: Mapping[Any, int] = brought.counts
    ends = (brought.first, brought.last)
    first, last = (f"{m.astimezone(said.zone):%Y-%m-%d %H:%M}" for m in ends)
    return said.word("bring.done", stored=counts["stored"], duplicate=counts["duplicate"],
                     first=first, last=last)  # fmt: skip
