"""The read-only pages of a built job: one function for each."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

from tackfree.service.pages.clocks import clocks_page
from tackfree.service.pages.days import job_page, plan_page, shift_page
from tackfree.service.pages.materials import materials_page
from tackfree.service.pages.read import Built, file_of, read_out, signature
from tackfree.service.pages.said import Reader
from tackfree.service.pages.stages import deck_page
from tackfree.service.pages.types import STAGES, Asked, Page
from tackfree.service.pages.weather import weather_page

PAGES: dict[str, Callable[[Built, Reader, Asked, date, str], Page]] = {
    "job": job_page,
    "deck": deck_page,
    "materials": materials_page,
    "weather": weather_page,
    "clocks": clocks_page,
    "plan": plan_page,
    "shift": shift_page,
}

__all__ = [
    "PAGES",
    "STAGES",
    "Asked",
    "Built",
    "Page",
    "Reader",
    "file_of",
    "read_out",
    "signature",
]
