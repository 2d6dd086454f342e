"""The page of film evidence over an example record."""

from __future__ import annotations

import re
from html import unescape
from pathlib import Path

import pytest
from tests.web.client import TestClient
from tests.web.made import make_out

from tackfree.service import job
from tackfree.service.people import Caller, may
from tackfree.service.record import add
from tackfree.service.recording import keep
from tackfree.web.app import create_app


@pytest.fixture(scope="module")
def bundle(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("film-page") / "job"
    job.new(folder, demo=True)
    keep.take_file(folder, folder / "record-example.jsonl")
    return folder


@pytest.fixture(scope="module")
def client(bundle: Path) -> TestClient:
    out = make_out(bundle.parent / "out")
    app = create_app(out, bundle)
    return TestClient(app, base_url="http://127.0.0.1", headers={"accept": "text/html"})


def read(client: TestClient, path: str) -> str:
    answer = client.get(path)
    assert answer.status_code == 200, answer.text
    return unescape(re.sub(r"\s+", " ", answer.text))


def test_the_deck_leads_and_each_section_leads_to_where_to_read_next(client: TestClient) -> None:
    text = read(client, "/film")
    assert "1 of 4 areas shown, 1 short, 2 not shown." in text
    assert "As of the last entry" in text
    assert 'href="/film?section=P1-STALL-D-1&coat=BASE"' in text
    one = read(client, "/film?section=P1-STALL-D-1&coat=BASE")
    assert "Read here next" not in one  # 26 hours down, read after a sheet's 3
    assert one.index("Nothing of it is wet any more") < one.index("First the contract's rule")
    assert "Ya nada está fresco" in read(client, "/film?section=P1-STALL-D-1&coat=BASE&lang=es")
    wet = read(client, "/film?section=P1-LANE-A-1&coat=BASE&lang=en")
    assert wet.index("Read here next") < wet.index("First the contract's rule")
    assert one.index("First the contract's rule") < one.index("Then how sure")
    assert 'fill="url(#tf-film-dense)"' in one


def test_the_inspectors_readings_stand_apart(client: TestClient) -> None:
    text = read(client, "/film?section=P1-STALL-A-1&coat=BASE")
    assert "The inspector's own 6 readings, kept apart" in text


def test_where_gauge_and_kits_clash_no_chance_is_drawn(client: TestClient) -> None:
    text = read(client, "/film?section=P1-STALL-B-1&coat=BASE")
    assert "cannot both be right" in text
    assert "Most likely: all kits alike come out about" in text
    drawing = text[text.index('id="drawing"') : text.index('id="lines"')]
    assert "tf-film-dense)" not in drawing


def test_in_spanish_and_metric(client: TestClient) -> None:
    text = read(client, "/film?section=P1-STALL-D-1&coat=BASE&lang=es&units=si")
    assert "Primero la regla del contrato" in text
    assert "813 µm" in text
    assert "{" not in text[text.index("<main") :].replace("{}", "")


def test_a_new_entry_is_on_the_page_at_once(client: TestClient, bundle: Path) -> None:
    before = read(client, "/film?section=P1-LANE-A-1&coat=BASE&lang=en&units=us")
    assert "8 readings; 20 are asked for" in before
    add(bundle, kind="film-reading", body={
        "section": "P1-LANE-A-1", "coat": "BASE", "x_m": 10.0, "y_m": 20.0, "unit": "mil",
        "wet_tooth": 28.0, "dry_tooth": 30.0, "gauge": "COMB-1", "gauge_checked": True,
    })  # fmt: skip
    assert "9 readings; 20 are asked for" in read(
        client, "/film?section=P1-LANE-A-1&coat=BASE&at=2027-04-23T06:00"
    )


def test_how_many_readings_and_what_the_rule_lets_pass(client: TestClient) -> None:
    """Two taps from the film: the places, then one of them; no film need be logged there."""
    assert 'href="/film/readings"' in read(client, "/film?lang=en&units=us")
    places = read(client, "/film/readings?lang=en&units=us")
    assert 'href="/film/readings?section=P2-LANE-A-1&coat=BASE"' in places
    assert "coat=PRIMER" not in places  # no comb reads a primer
    text = read(client, "/film/readings?section=P2-LANE-A-1&coat=BASE")
    for said in ("readings: the contract's rule asks for", "Spots to read, the widest gaps first",
                 "How often the rule passes a deck that is short"):  # fmt: skip
        assert said in text
    table = text[text.index("passes by the contract's rule") :]
    often = [int(p) for p in re.findall(r"<td>(?:[<>] )?(\d+)\s%</td>", table)[:6]]
    assert len(often) == 6
    assert often == sorted(often, reverse=True)  # the shorter the deck, the seldomer it passes
    assert 40 <= often[-1] <= 60  # exact: half of it under, so the average is a coin
    spanish = read(client, "/film/readings?section=P2-LANE-A-1&coat=BASE&lang=es&units=si")
    assert "Cuántas veces pasa la regla" in spanish
    assert "{" not in spanish[spanish.index("<main") :]


def test_the_figure_is_a_pdf(client: TestClient) -> None:
    answer = client.get("/film/figure.pdf?section=P1-STALL-A-1&coat=BASE")
    assert answer.status_code == 200
    assert answer.content[:5] == b"%PDF-"


@pytest.mark.parametrize(
    "path", ["/film?section=NONE", "/film?deck=NONE", "/film?coat=NONE",
             "/film/figure.pdf?section=NONE&coat=BASE", "/film/figure.pdf",
             "/film/readings?section=NONE", "/film/readings?section=P2-LANE-A-1&coat=NONE"],
)  # fmt: skip
def test_what_does_not_exist_is_not_found(client: TestClient, path: str) -> None:
    assert client.get(path).status_code == 404


def test_an_empty_record_says_so_kindly(tmp_path: Path) -> None:
    folder = tmp_path / "job"
    job.new(folder, demo=True)
    app = create_app(make_out(tmp_path / "out"), folder)
    empty = TestClient(app, base_url="http://127.0.0.1", headers={"accept": "text/html"})
    text = read(empty, "/film")
    assert "No kit and no film reading is logged on this deck yet" in text
    assert "record-example.jsonl" in text
    bare = create_app(make_out(tmp_path / "bare"), None)
    client = TestClient(bare, base_url="http://127.0.0.1", headers={"accept": "text/html"})
    assert client.get("/film").status_code == 404


def test_the_owner_may_look(client: TestClient) -> None:
    owner = Caller(person="Owner", role="owner", mode="team")
    assert may(owner, "GET", "/film")
    assert may(owner, "GET", "/film/figure.pdf")
    assert may(owner, "GET", "/film/readings")
    assert not may(owner, "POST", "/film")


def test_kits_to_finish_with_their_deadline(client: TestClient) -> None:
    text = read(client, "/materials/forecast?lang=en&units=us")
    assert "MARL-T" in text
    assert "order 16 today, late" in text  # 4 days of delivery, and the first use is past
    assert "should have been ordered by Fri 16 Apr: call now" in text
    assert "Order 16 today: it is late, with 4 days of delivery." in text
    assert text.index("MARL-T") < text.index("HEN-B")  # the most pressing first
    assert "eight jobs in ten" in text
    spanish = read(client, "/materials/forecast?lang=es")
    assert "Kits para acabar" in spanish
    answer = client.get("/materials/forecast.pdf?lang=en")
    assert answer.content[:5] == b"%PDF-"
    crew = Caller(person="Crew", role="crew", mode="team")
    assert not may(crew, "GET", "/materials/forecast")  # it speaks of money
