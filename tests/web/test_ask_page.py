"""Quick answers on a page: the same numbers as the command, nothing typed lost."""

from __future__ import annotations

import re
from datetime import date
from html import unescape
from pathlib import Path

import pytest
from tests.web.client import TestClient

from tackfree.service.ask import QUESTIONS, ask, asking_page
from tackfree.service.ask.page import CHOICES, LIKE
from tackfree.web.app import create_app


@pytest.fixture(scope="module")
def client(out: Path) -> TestClient:
    app = create_app(out, today=lambda zone: date(2027, 4, 22))
    return TestClient(app, base_url="http://127.0.0.1")


def plain(html: str) -> str:
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", " ", html)).replace("\u00a0", " "))


@pytest.mark.parametrize("lang", ["en", "es"])
@pytest.mark.parametrize("units", ["us", "si"])
@pytest.mark.parametrize("question", QUESTIONS)
def test_what_a_field_names_is_answered(question: str, units: str, lang: str) -> None:
    """Every example a field shows is read, and answers as the command's door does."""
    given = {a: like[0 if units == "us" else 1] for a, like in LIKE[question].items()}
    page = asking_page(question, given, "us" if units == "us" else "si", lang)
    assert page.faults == ()
    assert page.answer is not None
    want = ask(question, given).headline("us" if units == "us" else "si", lang)
    assert page.answer.headline == want
    named = {a.name for a in QUESTIONS[question].arguments}
    assert named == set(LIKE[question]) | {c for c in CHOICES if c in named}


def test_question_23_on_the_page(client: TestClient) -> None:
    # by hand: 2 US gal at 0.87 kg/L = 6.587 kg in an hour, 92.1 g/mol, 24.15 L/mol:
    # 1.727 m³/h of vapour; to 50 ppm, mixing 5: 172,700 m³/h = 101,700 ft³/min
    text = plain(client.get("/ask/air", params={"solvent": "2", "density": "0.87 kg/L",
                 "weight": "92.1", "limit": "50", "mixing": "5", "lfl": "1.1%"}).text)  # fmt: skip
    found = re.search(r"([\d,]+) ft³/min \(([\d,]+) m³/h\) of fresh air", text)
    assert found is not None
    assert float(found[1].replace(",", "")) == pytest.approx(101_700, rel=2e-3)
    assert "an industrial hygienist decides" in text


def test_a_bare_number_has_the_unit_the_field_names(client: TestClient) -> None:
    typed = {"slab": "68", "air": "72", "rh": "78"}
    us = client.get("/ask/spread", params=typed | {"units": "us"}).text
    assert 'value="68 °F"' in us
    assert plain(client.get("/ask/spread", params={"slab": "68F", "air": "72F", "rh": "78%",
                 "units": "us"}).text).count("Less than the usual") == plain(us).count(
        "Less than the usual")  # fmt: skip
    si = client.get("/ask/spread", params={"slab": "20", "air": "22", "rh": "78", "units": "si"})
    assert 'value="20 °C"' in si.text


def test_what_cannot_be_read_is_named_and_stays(client: TestClient) -> None:
    answer = client.get("/ask/kits", params={"area": "wide", "wft": "25 mil", "kit": "5 gal",
                                             "lang": "es", "units": "us"})  # fmt: skip
    text = plain(answer.text)
    assert answer.status_code == 200
    assert "Aún sin respuesta" in text
    assert "Área desarrollada :" in text
    assert 'value="wide"' in answer.text
    assert 'value="25 mil"' in answer.text


def test_nothing_typed_asks_nothing(client: TestClient) -> None:
    page = client.get("/ask/dewpoint").text
    assert 'class="result"' not in page
    assert 'class="warn"' not in page
    assert client.get("/ask/nonsense").text.count("/ask/") >= len(QUESTIONS)
    assert "<script>" not in client.get("/ask/dewpoint", params={"air": "<script>"}).text
