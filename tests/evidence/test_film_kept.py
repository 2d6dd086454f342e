"""What the film page keeps from one look to the next, and when it looks anew."""

from __future__ import annotations

import re
import shutil
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from tests.evidence.made_bay import BASE, FT, SECTION, new_bay
from tests.evidence.made_deck import write

from tackfree.service import film_entries, film_page
from tackfree.service.film_entries import FilmEntries
from tackfree.service.film_page import FilmBook
from tackfree.service.kept import KeptPipeline

NOW = datetime(2027, 5, 3, 12, tzinfo=ZoneInfo("America/New_York"))


@pytest.fixture
def bay(tmp_path: Path) -> Path:
    return new_bay(tmp_path / "job")


def job_id(bay: Path) -> str:
    found = re.search(r'^id = "(.+)"', (bay / "job.toml").read_text("utf-8"), re.M)
    assert found
    return found[1]


def reads(count: int, mil: float = 27.0) -> list:
    return [
        ("film-reading", {
            **BASE, "x_m": (5 + 10 * (k % 4)) * FT, "y_m": (10 + 15 * (k // 4)) * FT,
            "unit": "mil", "gauge": "COMB-7", "wet_tooth": mil - 1, "dry_tooth": mil + 1,
        })
        for k in range(count)
    ]  # fmt: skip


def test_only_what_came_since_is_read(bay: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    film = FilmEntries(bay)
    assert film.read() == ()
    write(bay, job_id(bay), reads(5))
    first = film.read()
    assert len(first) == 5
    asked: list[int] = []
    inner = film_entries.entries

    def counted(record, *, after=0, limit=1000):
        got = inner(record, after=after, limit=limit)
        asked.append(len(got))
        return got

    monkeypatch.setattr(film_entries, "entries", counted)
    write(bay, job_id(bay), reads(3), device="phone-2")
    later = film.read()
    assert (later[:5], len(later)) == (first, 8)
    assert sum(asked) == 1 + 3  # the last one known, and the three new ones


def test_another_record_is_read_from_the_first(bay: Path) -> None:
    film = FilmEntries(bay)
    write(bay, job_id(bay), reads(6))
    assert len(film.read()) == 6
    shutil.rmtree(bay / ".tackfree")
    write(bay, job_id(bay), reads(6, mil=30.0))
    assert {e.body["wet_tooth"] for e in film.read()} == {29.0}


def test_a_page_is_drawn_once_until_something_comes(
    bay: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    write(bay, job_id(bay), reads(12))
    kept = KeptPipeline(root=bay)
    book = FilmBook(bundle=bay, kept=lambda: kept)
    drawn: list[str] = []
    real = film_page.film_deck_svg

    def counted(parts, *, title):
        drawn.append(title)
        return real(parts, title=title)

    monkeypatch.setattr(film_page, "film_deck_svg", counted)

    def page(language: str = "en") -> film_page.FilmPage:
        return book.page(system="us", language=language, now=NOW)

    first = page()
    assert page() == first
    assert len(drawn) == 1
    assert page("es").svg != first.svg
    write(bay, job_id(bay), reads(4, mil=15.0), device="phone-2")
    later = page()
    assert len(drawn) == 3
    assert later.svg != first.svg
    made = book.made()
    sheet = bay / "buildups.toml"
    sheet.write_text(sheet.read_text("utf-8").replace('"25 mil"', '"30 mil"'), "utf-8")
    assert book.made() is not made
    assert page().rows[0].said != later.rows[0].said or page().svg != later.svg
    assert [r.section for r in later.rows] == [SECTION]
