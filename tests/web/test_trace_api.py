"""The routes of the tracing room: one error shape, limits, roles, and jobs in any state."""

from __future__ import annotations

import re
import shutil
from importlib import resources
from pathlib import Path
from typing import Any

import pytest
from tests.web.client import TestClient
from tests.web.tracing import PLAN

from tackfree.service import job, serving
from tackfree.service.people import Caller
from tackfree.service.trace import bring
from tackfree.web.app import create_app
from tackfree.web.site import Site
from tackfree.words import catalogue

HERE = "http://127.0.0.1"
OWN = {"accept": "application/json", "origin": HERE}
DECK: dict[str, Any] = {
    "base": "", "id": "D1", "name": "D1", "post_tensioned": "no", "features": [],
    "zones": [{
        "id": "D1-Z1", "name": "Z1", "duty": "light", "exposure": "covered", "build_up": "BU-WALK",
        "shape": {"type": "Polygon", "coordinates": [[[0, 0], [9, 0], [9, 9], [0, 9], [0, 0]]]},
    }],
}  # fmt: skip


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("made") / "job"
    job.new(folder)
    return folder


@pytest.fixture
def bundle(made: Path, tmp_path: Path) -> Path:
    shutil.copytree(made, tmp_path / "job")
    return tmp_path / "job"


@pytest.fixture
def client(bundle: Path, tmp_path: Path) -> TestClient:
    (tmp_path / "out").mkdir()
    return TestClient(create_app(tmp_path / "out", bundle), base_url=HERE, headers=OWN)


def refused(answer: Any, status: int) -> list[dict[str, str]]:
    assert answer.status_code == status, answer.text
    body = answer.json()
    assert body["schema"] == "tackfree.refused/1"
    for fault in body["refused"]:
        assert set(fault) == {"where", "what", "do"}
        assert all(fault.values()), fault
    return list(body["refused"])


JUNK = [
    b"", b"{", b"[]", b"null", b"\xff\xfe\x00", b'{"a":' * 2000, b'{"lengths": [1]}',
    b'{"lengths": [{"start": [1], "end": [], "length": 3}]}', b'{"text": {"a": 1}}',
]  # fmt: skip


@pytest.mark.parametrize("body", JUNK)
@pytest.mark.parametrize(
    ("method", "path"),
    [("POST", "/trace/check"), ("PUT", "/trace/deck/D1"), ("POST", "/trace/scale"),
     ("POST", "/trace/length"), ("PUT", "/trace/drawing/plan.pdf")],
)  # fmt: skip
def test_junk_is_refused_in_one_shape(
    client: TestClient, bundle: Path, method: str, path: str, body: bytes
) -> None:
    before = sorted(p.name for p in (bundle / "decks").iterdir())
    refused(client.request(method, path, content=body), 400)
    assert sorted(p.name for p in (bundle / "decks").iterdir()) == before


@pytest.mark.parametrize("method", ["PUT", "POST", "DELETE"])
@pytest.mark.parametrize("path", ["/trace/deck/MAIN", "/trace/drawing/x.pdf", "/trace/check"])
def test_another_site_changes_nothing(
    client: TestClient, bundle: Path, method: str, path: str
) -> None:
    answer = client.request(
        method, path, content=b"%PDF-", headers={"origin": "http://elsewhere.example"}
    )
    refused(answer, 403)
    assert (bundle / "decks/MAIN.toml").exists()


@pytest.mark.parametrize(
    "path",
    ["/trace/picture/..%2Fjob.toml", "/trace/picture/MAIN.toml", "/trace/lines/.hidden",
     "/trace/ground/nothing.pdf", "/trace/deck/NOPE", "/trace/former/MAIN/99",
     "/trace?open=NOPE", "/trace?open=..%2F..", "/trace?page=0&open=MAIN", "/trace?lang=xx"],
)  # fmt: skip
def test_what_is_not_there_or_not_ours_is_refused(client: TestClient, path: str) -> None:
    answer = client.get(path)
    assert answer.status_code in (400, 404)
    refused(answer, answer.status_code)


def test_a_drawing_too_large_is_stopped_early(
    client: TestClient, bundle: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(bring, "LARGEST_BYTES", 100_000)
    refused(client.put("/trace/drawing/a.pdf", content=b"%PDF-" + b"0" * 200_000), 413)

    def slowly() -> Any:  # no length is told beforehand
        yield b"%PDF-"
        for _ in range(40):
            yield b"0" * 10_000

    refused(client.put("/trace/drawing/b.pdf", content=slowly()), 413)
    assert not [p for p in (bundle / "decks").iterdir() if p.name.startswith((".", "a", "b"))]


def test_refusals_speak_the_readers_language(client: TestClient) -> None:
    svg = b"<svg></svg>"
    (said,) = refused(client.put("/trace/drawing/a.png?lang=es", content=svg), 400)
    assert said["do"] == catalogue("es")["trace.refuse.kind-svg-do"]


def test_a_deck_is_brought_checked_saved_and_opened(client: TestClient, bundle: Path) -> None:
    brought = client.put("/trace/drawing/Level 2.pdf", content=PLAN).json()
    assert brought == {"file": "Level-2.pdf", "kind": "pdf", "pages": 1}
    shown = client.get("/trace/picture/Level-2.pdf")
    assert shown.headers["content-type"] == "image/png"
    lines = client.get("/trace/lines/Level-2.pdf").json()
    assert [40.0, 40.0] in [list(p) for p in zip(*[iter(lines["points"])] * 2, strict=True)]
    checked = client.post("/trace/check", json=DECK).json()
    assert not (bundle / "decks/D1.toml").exists()
    saved = client.put("/trace/deck/D1", json=DECK).json()
    # by hand: 9 × 9 m
    assert checked["zones"]["D1-Z1"]["field_m2"] == pytest.approx(81)
    assert saved["zones"] == checked["zones"]
    assert saved["total"] == "872\u00a0ft²"  # by hand: 81 / 0.09290304
    assert (
        client.put("/trace/deck/D1?units=si", json=DECK | {"base": saved["base"]}).json()["total"]
        == "81.0\u00a0m²"
    )
    refused(client.put("/trace/deck/D1", json=DECK), 409)
    assert client.get("/trace/deck/D1").json()["base"] == saved["base"]
    refused(client.delete("/trace/deck/D1?base=other"), 409)
    assert client.delete(f"/trace/deck/D1?base={saved['base']}").status_code == 200
    assert not (bundle / "decks/D1.toml").exists()


@pytest.mark.parametrize("role", ["crew", "inspector", "owner"])
def test_only_office_and_foreman_change_decks(
    client: TestClient, bundle: Path, role: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    who = Caller(person="Sam", role=role, mode="team")
    monkeypatch.setattr(Site, "caller", lambda self, request: who)
    refused(client.put("/trace/deck/D1", json=DECK), 403)
    refused(client.put("/trace/drawing/plan.pdf", content=PLAN), 403)
    base = client.get("/trace/deck/MAIN").json()["base"]
    refused(client.delete(f"/trace/deck/MAIN?base={base}"), 403)
    assert sorted(p.name for p in (bundle / "decks").iterdir()) == ["MAIN.geojson", "MAIN.toml"]


def test_the_record_says_who_saved(client: TestClient, monkeypatch: pytest.MonkeyPatch) -> None:
    who = Caller(person="Ada", role="foreman", mode="team")
    monkeypatch.setattr(Site, "caller", lambda self, request: who)
    assert client.put("/trace/deck/D1", json=DECK).status_code == 200
    assert client.get("/trace/former/D1").json()[0]["person"] == "Ada"


@pytest.mark.parametrize("lang", ["en", "es"])
def test_a_job_without_decks_opens_on_a_drawing_to_bring(
    client: TestClient, bundle: Path, lang: str
) -> None:
    for path in (bundle / "decks").iterdir():
        path.unlink()
    text = client.get(f"/trace?lang={lang}", headers={"accept": "text/html"}).text
    assert 'name="file"' in text
    assert "There is no deck" in text  # what stands in the way of a build
    for path in ("/", "/deck", "/plan"):
        page = client.get(path, headers={"accept": "text/html"})
        assert page.status_code == 200
        assert "tackfree job build" in page.text


def test_a_zip_or_no_bundle_is_said_on_the_page(tmp_path: Path, bundle: Path) -> None:
    (tmp_path / "out").mkdir(exist_ok=True)
    for given in (None, Path(shutil.make_archive(str(tmp_path / "packed"), "zip", bundle))):
        with TestClient(create_app(tmp_path / "out", given), base_url=HERE, headers=OWN) as c:
            assert c.get("/trace", headers={"accept": "text/html"}).status_code == 200
            refused(c.put("/trace/deck/D1", json=DECK), 400)


def test_a_job_that_cannot_be_built_is_served_all_the_same(tmp_path: Path, bundle: Path) -> None:
    shutil.rmtree(bundle / "decks")
    said: list[str] = []
    out = serving.ready(bundle, tmp_path / "sheets", say=said.append)
    assert list(out.iterdir()) == []
    assert any("There is no deck" in s for s in said)
    with TestClient(create_app(out, bundle), base_url=HERE, headers=OWN) as c:
        assert c.get("/", headers={"accept": "text/html"}).status_code == 200
        assert c.put("/trace/deck/D1", json=DECK).status_code == 200
    assert job.check(bundle)[0] == ()
    assert serving.ready(bundle, out, say=said.append) == out  # now it builds
    assert "D1-Z1" in (out / "stages/takeoff.json").read_text()


def test_every_word_of_the_editor_exists(client: TestClient) -> None:
    known = set(client.get("/trace/words?lang=es").json())
    static = resources.files("tackfree.web").joinpath("static")
    used: set[str] = set()
    for entry in static.iterdir():
        if entry.name.startswith("trace") and entry.name.endswith(".js"):
            used |= set(re.findall(r'\bsay\("([a-z0-9.-]+)"', entry.read_text("utf-8")))
    assert len(used) > 50
    assert used - known == set()
