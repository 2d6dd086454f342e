"""The price in the browser: read, changed, refused with what was typed, put back."""

from __future__ import annotations

import json
import re
import threading
from datetime import date
from pathlib import Path
from urllib.parse import urlencode

import pytest
from tests.web.client import TestClient
from tests.web.made import make_out, write

from tackfree.errors import Refused
from tackfree.service import job as jobs
from tackfree.service.pipeline import Pipeline
from tackfree.service.price_form import former_prices, price_form, save_prices
from tackfree.service.quote import price_document
from tackfree.service.save import dumps, to_json
from tackfree.service.supply import order_stage
from tackfree.web.app import create_app
from tackfree.words.faults import fault_in

PAGE, EDIT, BACK = "/price", "/price/edit", "/price/back"
OWN = {"origin": "http://127.0.0.1", "content-type": "application/x-www-form-urlencoded"}


@pytest.fixture(scope="module")
def priced(tmp_path_factory) -> tuple[Path, Path]:
    """The demo's bundle, and an output folder with its order and price."""
    base = tmp_path_factory.mktemp("price-room")
    jobs.new(base / "job", demo=True)
    out = make_out(base / "out")
    made = Pipeline.of(base / "job")
    write(out / "stages/materials.json",
          {"schema": "tackfree.materials/1", **to_json(made.materials)})  # fmt: skip
    for name, stage in (
        ("price", price_document(made)), ("order", order_stage(made, planned=False))
    ):  # fmt: skip
        text = dumps({"schema": f"tackfree.{name}/1", **stage})
        (out / f"stages/{name}.json").write_text(text, "utf-8")
    return base / "job", out


@pytest.fixture
def room(priced):
    """A reader of the site; the price list is as the demo has it, before and after."""
    bundle, out = priced
    text = (bundle / "price.toml").read_text("utf-8")
    app = create_app(out, bundle, today=lambda zone: date(2027, 4, 22))
    yield TestClient(app, base_url="http://127.0.0.1", headers={"accept": "text/html"})
    (bundle / "price.toml").write_text(text, "utf-8")


def post(room: TestClient, path: str = EDIT, **typed: str):
    found = re.findall(r'name="([^"]+)" value="([^"]*)"', room.get(EDIT).text)
    fields = {name: value for name, value in found if not name.endswith(".-")}  # unticked boxes
    body = urlencode({**fields, **typed})
    return room.post(path, content=body, headers=OWN, follow_redirects=False)


def total(room: TestClient) -> str:
    found = re.search(r'<dt>Total</dt>\s*<dd><span class="n">([\d,.]+)', room.get(PAGE).text)
    assert found
    return found[1]


def test_the_price_page_shows_range_drivers_and_reasons(room, priced) -> None:
    document = json.loads((priced[1] / "stages/price.json").read_text("utf-8"))
    text = room.get(PAGE).text
    assert f"{float(document['total']):,.2f}" in text
    assert f"{float(document['odds']['p80']):,.2f}" in text
    # a bar for the price and one for each driver, and a reason beside every figure of money
    assert text.count('class="range"') == 1 + len(document["odds"]["drivers"])
    reasons = len(document["lines"]) + len(document["bid"]) + len(document["unit_prices"])
    assert text.count('class="why"') >= reasons
    for said in ("Not included", "What this price rests on", "Alternates", "Bid form"):
        assert said in text
    spanish = room.get(f"{PAGE}?lang=es").text
    for said in ("Propuesta para imprimir", "Días perdidos por el tiempo", "Guantes"):
        assert said in spanish
    assert "price." not in re.sub(r"/price\.|price\.xlsx|price\.toml", "", spanish)


def test_the_materials_page_shows_ranges_and_dates(room) -> None:
    text = room.get("/materials").text
    assert text.count('class="range"') == 11  # one for each product of the demo's order
    for said in ("Order by", "May go back", "Wear and gear", "Lost and left over", "Deliveries"):
        assert (said in text) is (said != "Deliveries"), said  # all on one day: one truck each


def test_a_rule_that_warns_says_so_before_its_sentence(room, priced) -> None:
    path = priced[1] / "stages/materials.json"
    before = path.read_text("utf-8")
    stage = json.loads(before)
    values = {"build_up": "BU-STALL", "exposure": "on-grade", "level": "warn"}
    rule = {"id": "buildup.rule.vapour-below", "values": values}
    write(path, {**stage, "messages": [rule]})
    assert "Warning: BU-STALL" in room.get("/materials").text
    assert "Advertencia: BU-STALL" in room.get("/materials?lang=es").text
    path.write_text(before, "utf-8")


def test_a_change_is_worked_out_at_once_and_can_be_put_back(room, priced) -> None:
    bundle = priced[0]
    before, text = total(room), (bundle / "price.toml").read_text("utf-8")
    answer = post(room, **{"margin": "20 %", "materials.HEN-B.each": "300"})
    assert (answer.status_code, answer.headers["location"]) == (303, PAGE)
    now = (bundle / "price.toml").read_text("utf-8")
    assert now == text.replace('margin = "12 %"', 'margin = "20 %"').replace(
        '"262.00 USD"', '"300 USD"'
    )
    changed = room.get(PAGE).text
    assert "has changed since the job was built" in changed
    assert total(room) != before
    assert room.get("/price/file/price.xlsx").content[:2] == b"PK"
    back = room.post(BACK, headers=OWN, follow_redirects=False)
    assert back.status_code == 303
    assert (bundle / "price.toml").read_text("utf-8") == text
    assert total(room) == before


def test_every_fault_comes_at_once_beside_what_was_typed(room, priced) -> None:
    text = (priced[0] / "price.toml").read_text("utf-8")
    answer = post(room, **{
        "margin": "120 %", "materials.HEN-B.each": "240 EUR", "materials.HEN-T.lead_days": "soon",
        "lumps.MOB.count": "-1", "sundries.BLADE.lasts": "5000 gal",
    })  # fmt: skip
    assert answer.status_code == 400
    assert answer.text.count('aria-invalid="true"') == 5
    for typed in ("120 %", "240 EUR", "soon", "5000 gal"):
        assert f'value="{typed}"' in answer.text
    assert "one currency" in answer.text
    assert (priced[0] / "price.toml").read_text("utf-8") == text


WRONG = {
    "margin": "120 %", "overhead": "ten", "person_hour": "", "learning": "20 %",
    "materials.HEN-B.each": "240 EUR", "materials.HEN-D.each": "a lot",
    "materials.HEN-T.lead_days": "soon", "materials.HEN-T.pallet": "0",
    "materials.HEN-P.returns": "2", "lumps.MOB.count": "-1", "sundries.BLADE.lasts": "5000 gal",
    "lost_days": "900", "scatter.kind": "-5 %",
}  # fmt: skip


def test_every_fault_of_the_form_is_said_in_spanish(room, priced) -> None:
    form = price_form(priced[0])
    with pytest.raises(Refused) as refused:
        save_prices(priced[0], WRONG, mark=form.mark)
    for fault in refused.value.faults:
        said = fault_in(fault, "es")
        assert said.what != fault.what, fault
        assert said.do != fault.do, fault
    assert len(refused.value.faults) >= len(WRONG)
    room.get(f"{EDIT}?lang=es")
    page = post(room, **WRONG).text
    assert "se espera un área" in page
    assert "una lista de precios en USD" in page


def test_new_lines_bid_lines_and_alternates_are_typed_in_the_form(room, priced) -> None:
    bundle = priced[0]
    answer = post(room, **{
        "lumps.+.id": "FENCE", "lumps.+.name": "Fence, a week", "lumps.+.each": "480",
        "lumps.+.count": "2",
        "equipment.+.id": "HEAT", "equipment.+.name": "Heater", "equipment.+.per_day": "90.50",
        "equipment.+.steps": "base, top",
        "unit_items.+.id": "SPALL", "unit_items.+.name": "Spalls", "unit_items.+.by": "ft²",
        "unit_items.+.each": "31", "unit_items.+.allowance": "40",
        "sundries.+.id": "TAPE-2", "sundries.+.name": "Tape", "sundries.+.each": "4",
        "sundries.+.per": "area", "sundries.+.lasts": "500 ft²",
        "bid.+.item": "6", "bid.+.text": "Fences", "bid.+.lumps": "FENCE",
        "bid.1.lumps": "MOB, CLOSE" if "CLOSE" in (bundle / "price.toml").read_text() else "MOB",
        "alternates.+.id": "ALT-2", "alternates.+.name": "Ramp as the lanes",
        "alternates.+.swaps": "BU-RAMP = BU-LANE, BU-STALL = BU-LANE",
        "alternates.ALT-1.-": "yes",
    })  # fmt: skip
    assert answer.status_code == 303, answer.text
    book = Pipeline.of(bundle).job.price
    fence = book.lumps[-1]
    assert (fence.id, str(fence.each), fence.count) == ("FENCE", "480", 2)
    assert (book.equipment[-1].id, book.equipment[-1].steps) == ("HEAT", ("base", "top"))
    assert (book.unit_items[-1].id, float(book.unit_items[-1].allowance)) == ("SPALL", 40.0)
    tape = next(w for w in book.wear if w.id == "TAPE-2")
    assert tape.one_for == pytest.approx(500 * 0.09290304)  # published: 1 ft² in m²
    assert (book.bid[-1].item, book.bid[-1].lump_ids) == ("6", ("FENCE",))
    (other,) = book.alternates
    assert (other.id, dict(other.swaps)) == ("ALT-2", {"BU-RAMP": "BU-LANE", "BU-STALL": "BU-LANE"})
    page = room.get(PAGE).text
    for said in ("Fence, a week", "Fences", "Ramp as the lanes", "Spalls"):
        assert said in page


def test_faults_of_a_new_line_stand_beside_it(room, priced) -> None:
    text = (priced[0] / "price.toml").read_text("utf-8")
    answer = post(room, **{
        "lumps.+.id": "fence", "lumps.+.each": "480 EUR", "bid.+.text": "No item",
        "alternates.+.id": "ALT-2", "alternates.+.name": "x", "alternates.+.swaps": "BU-RAMP",
        "lumps.MOB.-": "yes",
    })  # fmt: skip
    assert answer.status_code == 400
    for name in ("lumps.+.id", "lumps.+.name", "lumps.+.each", "bid.+.item", "alternates.+.swaps"):
        assert re.search(rf'name="{re.escape(name)}"[^>]*aria-invalid', answer.text), name
    assert 'name="lumps.MOB.-" value="yes" checked' in answer.text
    answer = post(room, **{"alternates.ALT-1.swaps": "BU-NONE = BU-LANE", "lumps.MOB.-": "yes"})
    assert (
        'name="alternates.ALT-1.swaps"' in answer.text.partition("There is no build-up BU-NONE")[0]
    )
    assert "There is no lump MOB" in answer.text  # the bid form still names it
    assert (priced[0] / "price.toml").read_text("utf-8") == text


def test_wear_of_our_own_becomes_a_row_when_it_is_changed(room, priced) -> None:
    assert post(room, **{"sundries.BLADE.lasts": "5000 ft²"}).status_code == 303
    blade = Pipeline.of(priced[0]).job.price.wear[0]
    # published: 1 ft = 0.3048 m, so 5,000 ft² is 464.5 m²
    assert (blade.id, blade.roles) == ("BLADE", ("base", "intermediate"))
    assert blade.one_for == pytest.approx(464.515)


def test_a_list_that_someone_else_changed_is_not_written_over(priced) -> None:
    bundle = priced[0]
    text = (bundle / "price.toml").read_text("utf-8")
    form = price_form(bundle)
    (bundle / "price.toml").write_text(text + "# a colleague\n", "utf-8")
    with pytest.raises(Refused) as refused:
        save_prices(bundle, {"margin": "15 %"}, mark=form.mark)
    assert "changed since" in refused.value.faults[0].what
    (bundle / "price.toml").write_text(text, "utf-8")


def test_two_who_save_at_once_do_not_mix(room, priced) -> None:
    mark = price_form(priced[0]).mark
    codes: list[int] = []

    def save(margin: str) -> None:
        body = urlencode({"mark": mark, "margin": margin})
        codes.append(room.post(EDIT, content=body, headers=OWN, follow_redirects=False).status_code)

    threads = [threading.Thread(target=save, args=(f"{k} %",)) for k in (15, 16)]
    for t in threads:
        t.start()
    for t in threads:
        t.join()
    assert sorted(codes) == [303, 400]


def test_a_job_without_prices_begins_its_list_in_the_form(tmp_path) -> None:
    jobs.new(tmp_path / "job", demo=True)
    (tmp_path / "job" / "price.toml").unlink()
    form = price_form(tmp_path / "job")
    rows = dict(form.tables)["materials"]
    assert {r.id for r in rows} >= {"HEN-B", "SEAL-1", "SAND-1630"}
    typed = {"currency": "CAD", "person_hour": "70", "overhead": "10 %", "margin": "10 %"}
    typed |= {f"materials.{r.id}.each": "100.00" for r in rows}
    save_prices(tmp_path / "job", typed, mark=form.mark)
    book = Pipeline.of(tmp_path / "job").job.price
    assert (book.currency, str(book.materials["HEN-B"].each)) == ("CAD", "100.00")
    assert former_prices(tmp_path / "job") is None  # there were none to put back


@pytest.mark.parametrize("body", [b"\xff\xfe", b"a=" + b"x" * 300_000])
def test_what_is_no_form_is_refused(room, body) -> None:
    answer = room.post(EDIT, content=body, headers=OWN | {"accept": "application/json"})
    assert answer.status_code == 400
    assert answer.json()["refused"][0]["where"] == "form"


def test_a_page_of_another_site_changes_no_price(room, priced) -> None:
    text = (priced[0] / "price.toml").read_text("utf-8")
    elsewhere = OWN | {"origin": "http://elsewhere.example"}
    for path in (EDIT, BACK):
        assert room.post(path, content=b"margin=0", headers=elsewhere).status_code == 403
    assert (priced[0] / "price.toml").read_text("utf-8") == text


def test_a_site_without_its_bundle_shows_and_does_not_change(priced) -> None:
    alone = TestClient(create_app(priced[1]), base_url="http://127.0.0.1")
    assert EDIT not in alone.get(PAGE, headers={"accept": "text/html"}).text
    assert alone.get(EDIT).status_code == 400
