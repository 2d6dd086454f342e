"""A team on its own network, whole: TLS, the set-up page, an invitation, a phone, its end."""

from __future__ import annotations

import os
import re
import socket
import ssl
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
from tests.web.field_tools import ARGS, CHROMIUM, DESK, PHONE, ROOT, app, make_job, safe, until
from tests.web.test_field_page import SMALL, look

PASSWORD = "four plain words here"
pytestmark = [
    pytest.mark.slow,
    pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning"),
]


@dataclass
class Lan:
    """``serve --lan`` as a process, and what it said."""

    bundle: Path
    port: int
    said: list[str] = field(default_factory=list)

    @property
    def url(self) -> str:
        return f"https://127.0.0.1:{self.port}"

    @property
    def plain_url(self) -> str:
        return f"http://127.0.0.1:{self.port + 1}"


@pytest.fixture(scope="module")
def lan(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Lan]:
    out, bundle = make_job(tmp_path_factory.mktemp("lan"))
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        port = s.getsockname()[1]
    code = (
        "import sys, pathlib; from tackfree.web.lan import run_lan;"
        "run_lan(pathlib.Path(sys.argv[1]), pathlib.Path(sys.argv[2]),"
        " ('127.0.0.1', 'deck.local', 'localhost'), int(sys.argv[3]),"
        " say=lambda t: print(t, flush=True))"
    )
    env = {**os.environ, "PYTHONPATH": str(ROOT / "src")}
    env.pop("TACKFREE_DATABASE", None)
    process = subprocess.Popen(
        [sys.executable, "-c", code, str(out), str(bundle), str(port)],
        env=env, stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    assert process.stdout
    found = Lan(bundle=bundle, port=port, said=[process.stdout.readline() for _ in range(4)])
    for _ in range(400):
        try:
            socket.create_connection(("127.0.0.1", port + 1), 1).close()
            break
        except OSError:
            time.sleep(0.02)
    yield found
    process.terminate()
    process.wait(10)
    process.stdout.close()


def trusting(lan: Lan) -> ssl.SSLContext:
    """What a phone trusts that has the laptop's certificate."""
    return ssl.create_default_context(cafile=lan.bundle / ".tackfree" / "tls" / "authority.pem")


def test_only_who_trusts_the_laptop_gets_a_line(lan: Lan) -> None:
    with pytest.raises(urllib.error.URLError, match="certificate"):
        urllib.request.urlopen(lan.url, timeout=5)
    with pytest.raises(urllib.error.HTTPError) as told:  # a line, but nobody is known yet
        urllib.request.urlopen(lan.url, timeout=5, context=trusting(lan))
    assert told.value.code == 401
    told.value.close()
    with urllib.request.urlopen(lan.plain_url, timeout=5) as answer:
        page = answer.read().decode()
    fingerprint = re.search(r"([0-9A-F]{2}:){31}[0-9A-F]{2}", " ".join(lan.said))
    assert fingerprint is not None
    assert fingerprint.group() in page
    with urllib.request.urlopen(f"{lan.plain_url}/tackfree-authority.crt", timeout=5) as answer:
        kept = lan.bundle / ".tackfree" / "tls" / "authority.pem"
        assert answer.read() == kept.read_bytes()
    with pytest.raises(urllib.error.HTTPError) as told:  # nothing of the job without TLS
        urllib.request.urlopen(f"{lan.plain_url}/api/entries", timeout=5)
    assert told.value.code == 404
    told.value.close()


@pytest.mark.skipif(CHROMIUM is None, reason="no chromium on this machine")
def test_a_phone_is_invited_logs_and_is_shut_out(lan: Lan) -> None:
    from playwright.sync_api import sync_playwright

    first = re.search(r"https://\S+/join/\S+", " ".join(lan.said))
    assert first is not None
    with sync_playwright() as p:
        browser = p.chromium.launch(executable_path=CHROMIUM, args=ARGS)

        def opened(size: dict[str, int]) -> Any:
            context = browser.new_context(
                viewport=size, has_touch=size is PHONE, ignore_https_errors=True
            )
            return context.new_page()

        office, phone, looker = opened(DESK), opened(PHONE), opened(PHONE)
        for size, page, lang in ((DESK, opened(DESK), "en"), (PHONE, looker, "es")):
            for path in (f"{lan.url}/sign-in", first.group(), lan.plain_url):
                page.goto(f"{path}?lang={lang}")
                look(page, size, f"{path} {lang}")
        office.goto(first.group())
        office.fill("input[name=password]", PASSWORD)
        office.click("button[type=submit]")
        office.wait_for_selector("#go:not([hidden])")
        office.goto(f"{lan.url}/")
        office.click("nav.stages .parts > li:last-child > .part")  # the record, then its people
        office.click("nav.stages a[href='/people']")
        look(office, DESK, "people")
        office.fill("form[action='/people/invite'] input[name=name]", "Ana Roe")
        office.click("form[action='/people/invite'] button")
        look(office, DESK, "invited")
        office.set_viewport_size(PHONE)
        assert office.evaluate("document.documentElement.scrollWidth") <= 360
        assert office.evaluate(SMALL) == []
        address = office.inner_text(".code a")

        phone.goto(address)
        phone.fill("input[name=device]", "Ana's phone")
        phone.click("button[type=submit]")
        phone.click("#go")
        phone.wait_for_selector("#field[data-ready]")
        assert phone.evaluate("isSecureContext && 'serviceWorker' in navigator")
        until(phone, """async () => (await import('/static/field.js')).app.person === 'Ana Roe'""")
        body = {"text": "through the gate"}
        app(phone, "await app.save([{ kind: 'note', body: value }], 'x')", body)
        safe(phone)
        seen = office.request.get(f"{lan.url}/api/entries").json()["entries"]
        assert [(e["person"], e["body"]) for e in seen] == [("Ana Roe", body)]
        looker.goto(address)  # an invitation works once
        assert "Ana Roe" not in looker.inner_text("body")

        office.goto(f"{lan.url}/people")
        office.locator("li", has_text="Ana's phone").locator("button").click()
        app(phone, "await app.save([{ kind: 'note', body: { text: 'too late' } }], 'x')")
        phone.evaluate("import('/static/field.js').then(({ app }) => app.sync.nudge())")
        phone.wait_for_selector("#sync:has-text('1 waiting')")
        phone.wait_for_timeout(500)
        told = phone.inner_text("#sync")
        seen = office.request.get(f"{lan.url}/api/entries").json()["entries"]
        assert [e["body"] for e in seen] == [body]
        assert phone.request.get(f"{lan.url}/api/entries").status == 401
        # what was typed stays on the phone, and can leave as a file
        rows = app(phone, "return app.rows.map(r => r.sent.body.text)")
        assert "too late" in rows
        browser.close()
    assert "safe" not in told
