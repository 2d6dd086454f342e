"""One error shape, headers on every answer, and nothing of the disk but the output."""

from __future__ import annotations

from pathlib import Path

import pytest
from starlette.routing import Route
from tests.web.client import TestClient

from tackfree.web.app import PATHS, create_app

BAD_QUERIES = [
    "day=yesterday",
    "day=2027-13-40",
    "day=1999-01-01",
    "deck=" + "X" * 500,
    "deck=../../etc",
    "deck=NOPE",
    "lang=xx",
    "units=furlong",
    "ground=%00",
    "deck=%3Cscript%3E",
    "day=&deck=",
]


def shape(answer) -> list[dict[str, str]]:
    body = answer.json()
    assert body["schema"] == "tackfree.refused/1"
    assert body["refused"]
    for fault in body["refused"]:
        assert set(fault) == {"where", "what", "do"}
        assert all(fault.values()), fault
    return body["refused"]


@pytest.mark.parametrize("query", BAD_QUERIES)
@pytest.mark.parametrize("path", PATHS.values())
def test_a_bad_address_is_refused_in_one_shape(client: TestClient, path: str, query: str) -> None:
    answer = client.get(f"{path}?{query}", headers={"accept": "application/json"})
    assert answer.status_code in (400, 404)
    shape(answer)
    page = client.get(f"{path}?{query}")
    assert page.status_code == answer.status_code
    assert page.text.count("<h1>") == 1
    assert "<script>" not in page.text


def test_all_faults_of_an_address_come_at_once(client: TestClient) -> None:
    answer = client.get("/?day=x&deck=y&lang=z", headers={"accept": "application/json"})
    assert {f["where"] for f in shape(answer)} == {"day", "deck", "lang"}


READING = {*PATHS.values(), "/files/{name:path}", "/static/{name}"}


@pytest.mark.parametrize("method", ["POST", "PUT", "PATCH", "DELETE"])
def test_no_reading_page_takes_anything(client: TestClient, method: str) -> None:
    assert {r.path for r in client.app.routes if isinstance(r, Route)} >= READING
    for path in READING:
        path = path.replace("{name:path}", "order.xlsx").replace("{name}", "look.css")
        own = {"accept": "application/json", "origin": "http://127.0.0.1"}
        answer = client.request(method, path, content=b"\xff{", headers=own)
        assert answer.status_code == 405
        assert answer.headers["allow"] == "GET, HEAD"
        shape(answer)


@pytest.mark.parametrize(
    "origin", [None, "http://elsewhere.example", "null", "http://127.0.0.1:99"]
)
def test_a_page_of_another_site_changes_nothing(client: TestClient, origin: str | None) -> None:
    headers = {"accept": "application/json"} | ({"origin": origin} if origin else {})
    answer = client.post("/", content=b"{}", headers=headers)
    assert answer.status_code == 403
    assert shape(answer)[0]["where"] == "Origin"


@pytest.mark.parametrize(
    "path",
    [
        "/nothing",
        "/static/app.py",
        "/static/..%2Fapp.py",
        "/files/stages/plan.json",
        "/files/run.json",
        "/files/..%2F..%2Fetc%2Fpasswd",
        "/files/%2Fetc%2Fpasswd",
        "/files/shift/2027-04-19-NIGHT.pdf",
        "/files/drawings/..%2Fsummary.json",
        "/weather?surface=moon",
        "/shift?day=2027-04-22&shift=NIGHT",
    ],
)
def test_what_is_not_there_is_not_found(client: TestClient, path: str) -> None:
    answer = client.get(path, headers={"accept": "application/json"})
    assert answer.status_code == 404
    shape(answer)


@pytest.mark.parametrize(
    "name", ["order.xlsx", "plan.ics", "shift/2027-04-19-DAY.pdf", "drawings/P1.svg"]
)
def test_files_of_the_output_are_served(client: TestClient, out: Path, name: str) -> None:
    answer = client.get(f"/files/{name}")
    assert answer.status_code == 200
    assert answer.content == (out / name).read_bytes()


@pytest.mark.parametrize(
    "path", [*PATHS.values(), "/static/look.css", "/files/order.xlsx", "/nothing", "/?day=x"]
)
def test_every_answer_carries_the_fences(client: TestClient, path: str) -> None:
    answer = client.get(path)
    policy = answer.headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    assert "http" not in policy
    assert "frame-ancestors 'none'" in policy
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert answer.headers["referrer-policy"] == "same-origin"
    assert answer.headers["cache-control"] == "no-cache"
    assert "server" not in answer.headers


@pytest.mark.parametrize("path", [*PATHS.values(), "/static/look.css", "/static/B612-Bold.otf"])
def test_the_same_bytes_are_not_sent_twice(client: TestClient, path: str) -> None:
    first = client.get(path)
    again = client.get(path, headers={"if-none-match": first.headers["etag"]})
    assert again.status_code == 304
    assert again.content == b""
    assert client.get(path).content == first.content
    other = client.get("/?units=si", headers={"if-none-match": first.headers["etag"]})
    assert other.status_code == 200


@pytest.mark.parametrize("path", [*PATHS.values(), "/static/look.css"])
def test_head_is_get_without_the_body(client: TestClient, path: str) -> None:
    assert client.head(path).status_code == 200
    assert client.head(path).content == b""


@pytest.mark.parametrize(
    "host", ["evil.example", "127.0.0.1.evil.example", "evil.example:8000", ""]
)
def test_only_this_machines_names_are_answered(client: TestClient, host: str) -> None:
    answer = client.get("/", headers={"host": host, "accept": "application/json"})
    assert answer.status_code == 400
    shape(answer)


@pytest.mark.parametrize("host", ["localhost:8000", "127.0.0.1", "[::1]:8000"])
def test_this_machines_names_are_answered(client: TestClient, host: str) -> None:
    assert client.get("/", headers={"host": host}).status_code == 200


def test_a_fault_of_ours_stays_loud_and_shows_no_inside(
    out: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    from tackfree.service import pages

    def broken(*_: object) -> None:
        raise ZeroDivisionError("secret")

    monkeypatch.setitem(pages.PAGES, "deck", broken)
    with TestClient(create_app(out), base_url="http://127.0.0.1") as c:
        answer = c.get("/deck", headers={"accept": "application/json"})
    assert answer.status_code == 500
    shape(answer)
    assert "secret" not in answer.text
    assert "ZeroDivisionError" in caplog.text


def test_the_look_is_the_one_of_the_sheets(client: TestClient) -> None:
    from tackfree.sheets import look

    css = client.get("/static/look.css").text
    for table in (look.DAY, look.NIGHT):
        for name, value in table.items():
            assert f"--{name}:{value}" in css
    pages = client.get("/static/tackfree.css").text
    assert "#" not in pages.replace("url(#", "").replace("/* ", ""), "a colour beside the tokens"
