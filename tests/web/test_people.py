"""A team's record: who is let in where, and who is not."""

from __future__ import annotations

import json
import re
import shutil
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from fastapi import FastAPI
from sqlalchemy import update
from tests.record.conftest import Phone
from tests.web.client import TestClient

from tackfree.record import people as rows
from tackfree.record.tables import invitation, session, view
from tackfree.service import job as jobs
from tackfree.service import people
from tackfree.service.recording.desk import Desk
from tackfree.web.app import create_app
from tackfree.web.gate import DEVICE, SESSION, VIEW, Limiter

OWN = {"origin": "http://127.0.0.1", "accept": "application/json"}
PASSWORD = "four plain words here"


@pytest.fixture(scope="module")
def out(out: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A copy: some of the routes that are asked here build into it."""
    return shutil.copytree(out, tmp_path_factory.mktemp("team-out") / "out")


@pytest.fixture(scope="module")
def bundle(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("team") / "job"
    jobs.new(folder)
    return folder


@pytest.fixture(autouse=True)
def _no_database(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("TACKFREE_DATABASE", raising=False)


@pytest.fixture(scope="module")
def desk(bundle: Path) -> Iterator[Desk]:
    found = Desk(bundle=bundle)
    yield found
    found.close()


@pytest.fixture
def team(out: Path, bundle: Path) -> FastAPI:
    return create_app(out, bundle, today=lambda zone: date(2027, 4, 22), team=True)


def client_of(app: FastAPI, **headers: str) -> TestClient:
    return TestClient(app, base_url="http://127.0.0.1", headers=OWN | headers,
                      follow_redirects=False)  # fmt: skip


def joined(desk: Desk, name: str, role: str) -> dict[str, str]:
    """A device of a new person: its token and id."""
    code = people.invite(desk.record, name=name, role=role, by="test")
    caller, token = people.redeem(
        desk.record, code, device_name="phone", password=PASSWORD if role != "crew" else ""
    )
    return {"token": token, "device": str(caller.device), "person": name}


@pytest.fixture(scope="module")
def devices(desk: Desk) -> dict[str, dict[str, str]]:
    return {role: joined(desk, f"{role.title()} Roe", role) for role in people.ROLES}


def by(app: FastAPI, device: dict[str, str]) -> TestClient:
    return client_of(app, authorization=f"Device {device['token']}")


# Every route, every credential


def routes_of(app: FastAPI) -> list[tuple[str, str]]:
    """Method and a concrete path of every route of the app."""
    found: list[tuple[str, str]] = []

    def walk(routes: Any) -> None:
        for route in routes:
            inside = getattr(route, "original_router", None)
            if inside is not None:
                walk(inside.routes)
                continue
            path = re.sub(r"\{sha256\}", "0" * 64, route.path)
            path = re.sub(r"\{[^}]*\}", "x", path)
            found.extend((m, path) for m in sorted(route.methods) if m != "HEAD")

    walk(app.routes)
    return found


def is_open(path: str) -> bool:
    return path in ("/sign-in", "/sw.js") or path.startswith(("/static/", "/join/", "/view/"))


# Who may use a route: its method, its path, the roles. The first that fits counts.
TEAM = {"office", "foreman", "crew", "inspector"}
RULES: list[tuple[str, str, set[str]]] = [
    ("POST", "/sign-out", {*TEAM, "owner"}),
    ("GET", r"/people", {"office"}),
    ("POST", r"/people/.*", {"office"}),
    ("GET", r"/(materials.*|price.*)", {"office", "foreman"}),
    ("POST", r"/price/.*", {"office", "foreman"}),
    ("POST", r"/plan/board/save", {"office", "foreman"}),
    ("POST", r"/plan/why/.*", {"office", "foreman"}),
    ("GET", r"/plan/jobs", TEAM),
    ("POST", r"/plan/again/(start|stop|take|leave)", {"office", "foreman"}),
    ("GET", r"/api/(entries|photos/.*|me|field)", {*TEAM, "owner"}),
    ("GET", r"/api/(held|openapi\.json|docs)", TEAM),
    ("POST", r"/api/entries", TEAM),
    ("PUT", r"/api/photos/.*", TEAM),
    ("GET", r"/field.*", TEAM),
    ("GET", r"/trace.*", TEAM),
    ("POST", r"/trace.*", {"office", "foreman"}),
    ("PUT", r"/trace.*", {"office", "foreman"}),
    ("DELETE", r"/trace.*", {"office", "foreman"}),
    ("POST", r"/marks/(tap|through|undo|reached)", {"office", "foreman", "crew"}),
    ("POST", r"/marks/(recut|choose)", {"office", "foreman"}),
    ("POST", r"/section/[^/]+/spots", {"office", "foreman", "inspector"}),
    ("GET", r"/daily/bring", {"office", "foreman"}),
    ("POST", r"/daily/bring", {"office", "foreman"}),
    ("GET", r"/((ask|deck|clocks|strip|plan|shift|weather|marks|daily|section|film)(/.*)?)?",
     {*TEAM, "owner"}),
    ("GET", r"/files/.*", {*TEAM, "owner"}),
]  # fmt: skip


def expired_session(desk: Desk, name: str) -> str:
    person = rows.by_name(desk.record, name)
    assert person is not None
    token = rows.open_session(desk.record, person.id, hours=1)
    with desk.record.writing() as connection:
        connection.execute(
            update(session)
            .where(session.c.token_sha == rows.hash_of(token))
            .values(expires="2020-01-01T00:00:00.000Z")
        )
    return token


def test_no_route_answers_to_no_wrong_or_expired_credentials(
    team: FastAPI, desk: Desk, devices: dict[str, dict[str, str]]
) -> None:
    gone = joined(desk, "Gone Roe", "office")
    rows.revoke_device(desk.record, gone["device"])
    left = joined(desk, "Left Roe", "office")
    person = rows.by_name(desk.record, "Left Roe")
    assert person is not None
    rows.end_person(desk.record, person.id)
    over = people.view_link(desk.record, label="Owner over", by="t", days=1)
    with desk.record.writing() as connection:
        connection.execute(
            update(view)
            .where(view.c.token_sha == rows.hash_of(over))
            .values(expires="2020-01-01T00:00:00.000Z")
        )
    bad: dict[str, dict[str, str]] = {
        "none": {},
        "wrong": {"authorization": "Device " + "x" * 43},
        "another scheme": {"authorization": f"Bearer {devices['office']['token']}"},
        "empty": {"authorization": "Device "},
        "revoked": {"authorization": f"Device {gone['token']}"},
        "left": {"authorization": f"Device {left['token']}"},
        "wrong session": {"cookie": f"{SESSION}=nobody"},
        "expired session": {"cookie": f"{SESSION}={expired_session(desk, 'Office Roe')}"},
        "expired view": {"cookie": f"{VIEW}={over}"},
        "a bad header beside a good cookie": {
            "authorization": "Device no", "cookie": f"{DEVICE}={devices['office']['token']}",
        },
    }  # fmt: skip
    routes = routes_of(team)
    assert len(routes) > 20
    tried = 0
    for method, path in routes:
        if is_open(path):
            continue
        for name, headers in bad.items():
            app_client = client_of(team, **headers)
            team_gate = team  # each try is one of many: the count of guesses is not the subject
            _forget_guesses(team_gate)
            answer = app_client.request(method, path)
            assert answer.status_code == 401, (method, path, name, answer.status_code)
            assert answer.json()["schema"] == "tackfree.refused/1"
            tried += 1
    assert tried > 200


def _forget_guesses(app: FastAPI) -> None:
    app.state.site.gate.guesses._marks.clear()


def test_every_route_lets_in_the_roles_of_its_rule_and_no_other(
    team: FastAPI, desk: Desk, devices: dict[str, dict[str, str]]
) -> None:
    token = people.view_link(desk.record, label="Owner Roe", by="t", days=5)
    clients = {role: by(team, devices[role]) for role in people.ROLES}
    clients["owner"] = client_of(team, cookie=f"{VIEW}={token}")
    lacking, wrong = [], []
    for method, path in routes_of(team):
        if is_open(path):
            continue
        rule = next((r for r in RULES if r[0] == method and re.fullmatch(r[1], path)), None)
        if rule is None:
            lacking.append((method, path))
            continue
        for role, client in clients.items():
            if path == "/sign-out" and role == "owner":
                continue  # it would close the door behind itself
            status = client.request(method, path).status_code
            if (status == 403) == (role in rule[2]) or status in (401, 429):
                wrong.append((method, path, role, status))
    assert lacking == [], "say in RULES who may use a new route"
    assert wrong == []
    for path in ("/price", "/price/file/price.xlsx", "/price/edit", "/files/order.xlsx",
                 "/files/price.xlsx", "/files/proposal.pdf", "/materials"):  # fmt: skip
        for role in ("crew", "inspector", "owner"):
            assert clients[role].get(path).status_code == 403, (role, path)
    me = clients["owner"].get("/api/me").json()
    assert (me["person"], me["role"], me["mode"]) == ("Owner Roe", "owner", "team")


def test_the_masthead_names_only_what_one_may_open(
    team: FastAPI, out: Path, bundle: Path, desk: Desk, devices: dict[str, dict[str, str]]
) -> None:
    def named(client: TestClient) -> set[str]:
        text = client.get("/", headers={"accept": "text/html"}).text
        nav = text[text.index('class="stages"') : text.index("</nav>")]
        return set(re.findall(r'href="(/[a-z]*)"', nav))

    token = people.view_link(desk.record, label="Owner Nav", by="t", days=5)
    office, crew = named(by(team, devices["office"])), named(by(team, devices["crew"]))
    owner = named(client_of(team, cookie=f"{VIEW}={token}"))
    assert {"/people", "/price", "/field", "/trace"} <= office
    assert office - crew == {"/people", "/price", "/materials"}
    assert crew - owner == {"/field", "/trace"}
    alone = client_of(create_app(out, bundle))
    assert "/people" not in named(alone)
    assert office - named(alone) == {"/people"}


# Joining


def test_an_invitation_works_once(team: FastAPI, desk: Desk) -> None:
    code = people.invite(desk.record, name="Ana Roe", role="crew", by="test")
    client = client_of(team)
    assert "Ana Roe" in client.get(f"/join/{code}", headers={"accept": "text/html"}).text
    first = client.post(f"/join/{code}", data={"device": "Ana's phone"})
    assert first.status_code == 200
    found = first.json()
    assert (found["person"], found["role"]) == ("Ana Roe", "crew")
    cookie = first.headers["set-cookie"]
    assert "HttpOnly" in cookie
    assert "SameSite=strict" in cookie
    assert client_of(team).post(f"/join/{code}", data={}).status_code == 404
    me = by(team, found).get("/api/me").json()
    assert me == {"schema": "tackfree.me/1", "person": "Ana Roe", "role": "crew",
                  "device": found["device"], "mode": "team"}  # fmt: skip
    with desk.record.reading() as connection:
        kept = str(connection.execute(invitation.select()).all())
    assert code not in kept
    assert found["token"] not in str(rows.everybody(desk.record))


def test_a_late_invitation_and_a_short_password_are_refused(team: FastAPI, desk: Desk) -> None:
    late = rows.invite(desk.record, name="Late Roe", role="crew", by="t", hours=-1)
    assert client_of(team).get(f"/join/{late}").status_code == 404
    code = people.invite(desk.record, name="Second Office", role="office", by="t")
    short = client_of(team).post(f"/join/{code}", data={"password": "short"})
    assert short.status_code == 400
    assert short.json()["refused"][0]["where"] == "password"
    assert client_of(team).post(f"/join/{code}", data={"password": PASSWORD}).status_code == 200


def test_a_phone_writes_in_its_own_name_only(
    team: FastAPI, desk: Desk, devices: dict[str, dict[str, str]]
) -> None:
    mine = devices["crew"]
    phone = Phone(mine["device"])
    own = {"job": desk.job.id, "person": mine["person"]}
    good = phone.note("mine", **own)
    other = phone.note("not mine", **{**own, "person": "Foreman Roe"})
    released = phone.note(kind="release", body={"section": "S", "of": "cars", "by": "me"}, **own)
    twin = Phone("phone-of-another").note("not from here", **own)
    answer = by(team, mine).post(
        "/api/entries", content=json.dumps({"entries": [good, other, released, twin]})
    )
    found = answer.json()["results"]
    assert [r["status"] for r in found] == ["stored", "held", "held", "held"]
    assert [r["faults"][0]["where"] for r in found[1:]] == ["person", "kind", "device"]


# Signing in


def test_sign_in_and_out(team: FastAPI, devices: dict[str, dict[str, str]]) -> None:
    client = client_of(team)
    done = client.post("/sign-in", data={"name": "Office Roe", "password": PASSWORD})
    assert done.status_code == 303
    assert "HttpOnly" in done.headers["set-cookie"]
    assert client.get("/people").status_code == 200
    assert client.get("/api/me").json()["role"] == "office"
    assert client.post("/people/invite", data={"name": "x", "role": "king"}).status_code == 400
    foreign = client.post("/people/invite", data={"name": "Evil Roe", "role": "office"},
                          headers={"origin": "http://elsewhere.example"})  # fmt: skip
    assert foreign.status_code == 403
    assert client.post("/sign-out").status_code == 303
    assert client.get("/people").status_code == 401


@pytest.mark.parametrize(
    ("name", "password"),
    [("Office Roe", "wrong wrong wrong"), ("Nobody", PASSWORD), ("Crew Roe", ""), ("", "")],
)
def test_a_wrong_password_opens_nothing(
    team: FastAPI, devices: dict[str, dict[str, str]], name: str, password: str
) -> None:
    answer = client_of(team).post("/sign-in", data={"name": name, "password": password})
    assert answer.status_code == 401
    assert "set-cookie" not in answer.headers


def test_guessing_is_slowed_down(team: FastAPI, devices: dict[str, dict[str, str]]) -> None:
    client = client_of(team)
    guess = {"name": "Office Roe", "password": "wrong wrong wrong"}
    codes = [client.post("/sign-in", data=guess).status_code for _ in range(7)]
    assert codes == [401] * 5 + [429] * 2
    right = client.post("/sign-in", data={**guess, "password": PASSWORD})
    assert right.status_code == 429
    for _ in range(70):
        last = client_of(team, authorization="Device guess").get("/api/me")
    assert last.status_code == 429
    assert int(last.headers["retry-after"]) > 0


def test_a_limiter_lets_in_again_after_its_time() -> None:
    now = [0.0]
    limiter = Limiter(most=2, span_s=10, clock=lambda: now[0])
    for at in (0.0, 4.0):
        now[0] = at
        assert limiter.wait_s("a") == 0
        limiter.mark("a")
    assert limiter.wait_s("a") > 0
    assert limiter.wait_s("b") == 0
    now[0] = 10.5
    assert limiter.wait_s("a") == 0


# The office's page


def test_the_office_invites_and_closes(
    team: FastAPI, desk: Desk, devices: dict[str, dict[str, str]]
) -> None:
    office = by(team, devices["office"])
    page = office.post("/people/invite", data={"name": "Zoe <b>Roe</b>", "role": "foreman"})
    assert page.status_code == 200
    assert "<b>Roe" not in page.text
    code = re.search(r"/join/([\w-]+)", page.text)
    assert code is not None
    token = client_of(team).post(f"/join/{code.group(1)}", data={"device": "Zoe"}).json()
    assert by(team, token).get("/").status_code == 200
    assert office.post("/people/end", data={"device": token["device"]}).status_code == 303
    assert by(team, token).get("/").status_code == 401
    shown = office.post("/people/view", data={"label": "Owner Two", "days": "3"})
    link = re.search(r"/view/([\w-]+)", shown.text)
    assert link is not None
    looker = client_of(team)
    assert looker.get(f"/view/{link.group(1)}").status_code == 303
    assert looker.get("/deck").status_code == 200
    assert office.post("/people/view", data={"label": "Owner", "days": "x"}).status_code == 400


def test_the_last_of_the_office_stays(tmp_path: Path) -> None:
    jobs.new(tmp_path / "job")
    desk = Desk(bundle=tmp_path / "job")
    code = people.first_invitation(desk.record)
    assert code is not None
    people.redeem(desk.record, code, device_name="laptop", password=PASSWORD)
    assert people.first_invitation(desk.record) is None
    only = rows.by_name(desk.record, "Office")
    assert only is not None
    with pytest.raises(Exception, match="nobody of the office"):
        rows.end_person(desk.record, only.id)
    desk.close()


@pytest.mark.parametrize("path", ["/people", "/sign-in", "/join/none"])
@pytest.mark.parametrize("lang", ["en", "es"])
def test_pages_are_whole_in_both_languages(
    team: FastAPI, devices: dict[str, dict[str, str]], path: str, lang: str
) -> None:
    page = by(team, devices["office"]).get(f"{path}?lang={lang}", headers={"accept": "text/html"})
    assert "people." not in page.text.replace("/static/people.css", "")
    assert page.text.count("<h1>") == 1
