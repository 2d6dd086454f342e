"""The interface of the phones: batches, positions, photos, and one shape of refusal."""

from __future__ import annotations

import hashlib
import io
import json
import struct
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from PIL import ExifTags, Image
from tests.record.conftest import Phone
from tests.web.client import TestClient

from tackfree.record.kinds import KINDS
from tackfree.service import job as jobs
from tackfree.web import api_docs
from tackfree.web.app import create_app

OWN = {"origin": "http://127.0.0.1", "accept": "application/json"}


@pytest.fixture
def bundle(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.delenv("TACKFREE_DATABASE", raising=False)
    jobs.new(tmp_path / "job")
    return tmp_path / "job"


@pytest.fixture
def api(out: Path, bundle: Path) -> Iterator[TestClient]:
    app = create_app(out, bundle, today=lambda zone: date(2027, 4, 22))
    with TestClient(app, base_url="http://127.0.0.1", headers=OWN) as client:
        yield client


@pytest.fixture
def phone(bundle: Path) -> Phone:
    return JobPhone(jobs.open_job(bundle).id)


class JobPhone(Phone):
    """A phone of another job than the record's own tests have."""

    def __init__(self, job: str, name: str = "PHONE-1") -> None:
        super().__init__(name)
        self.job = job

    def note(self, text: str = "gate closed", **changes: Any) -> dict[str, Any]:
        return super().note(text, **{"job": self.job, **changes})


def send(api: TestClient, entries: list[Any], **more: Any) -> Any:
    answer = api.post("/api/entries", content=json.dumps({"entries": entries}), **more)
    assert answer.status_code == 200, answer.text
    body = answer.json()
    assert body["schema"] == "tackfree.entries-taken/1"
    return body


def test_a_batch_is_stored_once_and_read_by_position(api: TestClient, phone: Phone) -> None:
    batch = [phone.note(str(i)) for i in range(5)]
    first = send(api, batch)
    assert [r["status"] for r in first["results"]] == ["stored"] * 5
    assert [r["id"] for r in first["results"]] == [e["id"] for e in batch]
    again = send(api, batch)
    assert [r["status"] for r in again["results"]] == ["duplicate"] * 5
    assert again["pos"] == first["pos"]
    page = api.get("/api/entries?limit=3").json()
    rest = api.get(f"/api/entries?after={page['next']}").json()
    got = page["entries"] + rest["entries"]
    assert [{k: e[k] for k in batch[0]} for e in got] == batch
    assert rest["next"] == first["pos"]
    end = api.get(f"/api/entries?after={rest['next']}").json()
    assert (end["entries"], end["next"]) == ([], rest["next"])


def test_a_bad_entry_is_held_with_every_fault_and_mended(api: TestClient, phone: Phone) -> None:
    bad = phone.note(kind="conditions", body={"slab_c": "warm", "rh": 62, "extra": 1})
    after = phone.note("the one after it")
    found = send(api, [bad, after])["results"]
    assert [r["status"] for r in found] == ["held", "stored"]
    assert {f["where"] for f in found[0]["faults"]} == {"slab_c", "air_c", "rh", "extra"}
    assert all(f["what"] and f["do"] for f in found[0]["faults"])
    spanish = send(api, [bad], headers={"accept-language": "es"})["results"][0]["faults"]
    assert {f["where"]: f["what"] for f in spanish}["air_c"] == "falta."
    (held,) = api.get("/api/held").json()["held"]
    assert json.loads(held["raw"]) == bad
    mended = phone.note(
        kind="conditions", body={"slab_c": 20, "air_c": 21, "rh": 0.62, "mends": bad["id"]}
    )
    assert send(api, [mended])["results"][0]["status"] == "stored"
    assert api.get("/api/held").json()["held"] == []


@pytest.mark.parametrize(
    "raw",
    [
        b"", b"{", b"[]", b"{}", b'{"entries": 5}', b'{"entries": [], "more": 1}', b"\xff\xfe",
        b'{"entries": [NaN]}', b"[" * 100_000, json.dumps({"entries": [1] * 201}).encode(),
    ],
)  # fmt: skip
def test_what_is_no_batch_is_refused_in_one_shape(api: TestClient, raw: bytes) -> None:
    answer = api.post("/api/entries", content=raw)
    assert answer.status_code == 400
    assert answer.json()["schema"] == "tackfree.refused/1"
    assert all(f["what"] and f["do"] for f in answer.json()["refused"])


@pytest.mark.parametrize(
    "junk", [None, 7, "x", [], {}, {"id": []}, {"kind": {}, "v": [], "body": 1}]
)
def test_junk_in_a_batch_is_held(api: TestClient, phone: Phone, junk: Any) -> None:
    found = send(api, [junk, phone.note()])["results"]
    assert [r["status"] for r in found] == ["held", "stored"]
    assert found[0]["faults"]


def test_too_many_bytes_are_refused(api: TestClient) -> None:
    assert api.post("/api/entries", content=b" " * 8_000_001).status_code == 400


@pytest.mark.parametrize("query", ["after=-1", "after=x", "limit=0", "limit=1001", "after=1e3"])
def test_a_bad_position_is_refused(api: TestClient, query: str) -> None:
    answer = api.get(f"/api/entries?{query}")
    assert answer.status_code == 400
    assert answer.json()["refused"][0]["where"].startswith("query.")


def test_who_one_is_on_ones_own_machine(api: TestClient) -> None:
    me = api.get("/api/me").json()
    assert (me["role"], me["device"], me["mode"]) == ("office", None, "single")
    assert me["person"]


def test_an_address_tells_what_it_takes(api: TestClient) -> None:
    answer = api.request("DELETE", "/api/entries")
    assert answer.status_code == 405
    assert set(answer.headers["allow"].split(", ")) == {"GET", "POST"}


# Photos


def picture(kind: str = "JPEG", size: tuple[int, int] = (900, 600), **more: Any) -> bytes:
    image = Image.new("RGB", size, (120, 130, 140))
    image.paste((20, 20, 20), (0, 0, size[0] // 3, size[1] // 2))
    out = io.BytesIO()
    image.save(out, kind, **more)
    return out.getvalue()


def put(api: TestClient, data: bytes, sha: str | None = None) -> Any:
    name = sha or hashlib.sha256(data).hexdigest()
    return api.put(f"/api/photos/{name}", content=data, headers={"content-type": "image/jpeg"})


def test_a_photo_comes_back_byte_for_byte(api: TestClient) -> None:
    data = picture()
    sha = hashlib.sha256(data).hexdigest()
    assert put(api, data).status_code == 201
    assert put(api, data).status_code == 200
    found = api.get(f"/api/photos/{sha}")
    assert found.content == data
    assert found.headers["content-type"] == "image/jpeg"
    assert "sandbox" in found.headers["content-security-policy"]
    assert found.headers["x-content-type-options"] == "nosniff"
    with Image.open(io.BytesIO(api.get(f"/api/photos/{sha}/small").content)) as small:
        assert max(small.size) == 640


def test_time_place_and_the_right_way_up_come_from_the_camera(api: TestClient) -> None:
    exif = Image.Exif()
    exif[ExifTags.Base.Orientation] = 6
    exif.get_ifd(ExifTags.IFD.Exif).update({
        ExifTags.Base.DateTimeOriginal: "2027:04:20 09:15:30",
        ExifTags.Base.OffsetTimeOriginal: "-04:00",
    })  # fmt: skip
    exif.get_ifd(ExifTags.IFD.GPSInfo).update({1: "N", 2: (36.0, 6.0, 0.0), 3: "W", 4: (79, 57, 0)})
    data = picture(exif=exif)
    sha = hashlib.sha256(data).hexdigest()
    assert put(api, data).status_code == 201
    about = api.get(f"/api/photos/{sha}/about").json()
    assert about["taken"] == "2027-04-20T09:15:30-04:00"
    assert (about["latitude_deg"], about["longitude_deg"]) == (36.1, -79.95)
    assert (about["width_px"], about["height_px"]) == (600, 900)
    with Image.open(io.BytesIO(api.get(f"/api/photos/{sha}/small").content)) as small:
        assert small.height > small.width
        assert not small.getexif()


SCRIPT = b"<svg xmlns='http://www.w3.org/2000/svg'><script>alert(1)</script></svg>"
ODD = {
    "drawing": SCRIPT,
    "page": b"<!doctype html><script>alert(1)</script>",
    "pdf first": b"%PDF-1.4\n" + picture(),
    "gif with script": b"GIF89a/*" + b"\0" * 20 + b"*/=1;alert(1)",
    "cut short": picture()[:-400],
    "cut in half": picture("PNG")[: len(picture("PNG")) // 2],
    "zip": b"PK\x03\x04" + b"\0" * 60,
    "nothing": b"",
}


@pytest.mark.parametrize("name", ODD)
def test_what_is_no_whole_picture_is_refused(api: TestClient, bundle: Path, name: str) -> None:
    answer = put(api, ODD[name])
    assert answer.status_code == 400
    assert answer.json()["refused"][0]["where"] == "photo"
    assert not (bundle / "photos").exists()


def test_a_picture_with_a_page_behind_it_is_only_ever_a_picture(api: TestClient) -> None:
    data = picture() + SCRIPT
    sha = hashlib.sha256(data).hexdigest()
    assert put(api, data).status_code == 201
    found = api.get(f"/api/photos/{sha}", headers={"accept": "text/html"})
    assert found.headers["content-type"] == "image/jpeg"
    assert "sandbox" in found.headers["content-security-policy"]
    assert b"script" not in api.get(f"/api/photos/{sha}/small").content


def test_a_hundred_million_pixels_are_refused(api: TestClient) -> None:
    flat = io.BytesIO()
    Image.new("1", (10_000, 10_000)).save(flat, "PNG")
    answer = put(api, flat.getvalue())
    assert answer.status_code == 400
    assert "64 million" in answer.json()["refused"][0]["what"]


# published: TIFF 6.0 section 2: a tag is its number, type, count, and value or offset
def notes(*tags: tuple[int, int, int, int], said: int | None = None) -> bytes:
    """Notes of a camera as it pleases: a header, and one table of tags."""
    count = len(tags) if said is None else said
    table = b"".join(struct.pack("<HHII", *tag) for tag in tags)
    return b"Exif\0\0II*\0" + struct.pack("<IH", 8, count) + table + struct.pack("<I", 8)


HURTFUL = {
    "a turn in bytes": notes((0x0112, 7, 1, 6)),
    "a turn in words": notes((0x0112, 2, 4, 0x41414141)),
    "a table that holds itself": notes((0x8769, 4, 1, 8), (0x8825, 4, 1, 8)),
    "two thousand million letters": notes((0x0132, 2, 2**31 - 1, 8)),
    "numbers without end": notes((0x8825, 4, 1, 8), (2, 5, 2**30, 8), (4, 5, 2**30, 8)),
    "tables beyond the file": notes((0x8769, 4, 1, 2**31), (0x8825, 4, 1, 2**32 - 1)),
    "more tags than there are": notes((0x0112, 3, 1, 6), said=65_535),
    "no table": b"Exif\0\0II*\0",
    "no notes": b"Exif\0\0" + b"\xff" * 40,
}


@pytest.mark.parametrize("name", HURTFUL)
def test_notes_made_to_hurt_are_not_believed(api: TestClient, name: str) -> None:
    data = picture(exif=HURTFUL[name])
    sha = hashlib.sha256(data).hexdigest()
    answer = put(api, data)
    assert answer.status_code in (201, 400)
    if answer.status_code == 201:
        about = api.get(f"/api/photos/{sha}/about").json()
        assert {about["width_px"], about["height_px"]} == {900, 600}
        assert about["latitude_deg"] is None
        assert b"Exif" not in api.get(f"/api/photos/{sha}/small").content


def test_a_wrong_hash_is_refused(api: TestClient) -> None:
    assert put(api, picture(), "0" * 64).status_code == 400
    assert put(api, picture(), "x").status_code == 400
    assert api.get("/api/photos/" + "0" * 64).status_code == 404
    assert api.get(f"/api/photos/{'0' * 64}/small").status_code == 404


def test_without_a_bundle_there_is_no_record(out: Path) -> None:
    with TestClient(create_app(out), base_url="http://127.0.0.1", headers=OWN) as client:
        assert client.get("/api/entries").status_code == 404
        assert client.get("/api/me").status_code == 200


def test_the_documents_tell_every_request_and_every_kind(api: TestClient) -> None:
    described = api.get("/api/openapi.json").json()
    page = api.get("/api/docs").text
    assert "<script" not in page.replace('<script type="module" src="/static/drawing.js">', "")
    for one in api_docs.operations(described):
        assert one.summary in page
        assert one.path in page
    for kind, version in KINDS:
        assert f"<h3>{kind}.{version}</h3>" in page
    kept = Path(__file__).resolve().parents[2] / "docs" / "api.md"
    assert kept.read_text("utf-8") == api_docs.markdown(described), (
        "write it anew: python -m tackfree.web.api_docs docs/api.md"
    )
