"""The field document and its forms agree with the record and speak both languages."""

from __future__ import annotations

import json
import re
from importlib import resources
from pathlib import Path
from typing import Any

import pytest
from tests.web.field_tools import make_job

from tackfree import words
from tackfree.record.kinds import KINDS
from tackfree.service.field import FORMS, field_document, field_words, fresh_mark
from tackfree.service.marks_book import MarksBook
from tackfree.service.pages import read_out
from tackfree.service.recording.desk import Desk


def document_of(out: Path, bundle: Path) -> dict[str, Any]:
    return field_document(read_out(out), bundle, MarksBook(out=out, desk=Desk(bundle=bundle)))


# Set by the page itself, not asked for: links between entries, and where a tap was.
LINKS = {"corrects", "mends", "photos"}
OURS = {
    "placement": {"layout", "outline", "started", "stopped"},
    "batch": {"mixed_from", "mixed_to"},
    "film-reading": {"x_m", "y_m", "gauge_checked", "cell"},
    "instrument-check": {"top_tooth", "top_tooth_unit"},
    "aggregate": {"cell"},
}


@pytest.fixture(scope="module")
def document(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    out, bundle = make_job(tmp_path_factory.mktemp("field"))
    return document_of(out, bundle)


# Spots are drawn by lot in the office, and loggers hand in their own readings.
NOT_TYPED = {("inspector-spots", 1), ("logged", 1)}


def test_every_kind_that_people_type_has_one_form() -> None:
    kinds = [f.kind for f in FORMS]
    assert len(kinds) == len(set(kinds))
    assert {(f.kind, f.v) for f in FORMS} == set(KINDS) - NOT_TYPED


@pytest.mark.parametrize("form", FORMS, ids=lambda f: f.kind)
def test_a_form_asks_what_its_kind_takes(form: Any) -> None:
    model = KINDS[form.kind, form.v]
    fields = model.model_fields
    asked = {a.name: a for a in form.asks}
    assert set(asked) <= set(fields)
    needed = {n for n, f in fields.items() if f.is_required()}
    ours = OURS.get(form.kind, set())
    assert needed - ours <= {n for n, a in asked.items() if a.needed}
    schema = json.dumps(model.model_json_schema())
    for ask in form.asks:
        for choice in ask.choices:
            assert f'"{choice}"' in schema, (ask.name, choice)


def test_bounds_come_from_the_kind() -> None:
    form = next(f for f in FORMS if f.kind == "conditions").to_json()
    rh = next(a for a in form["asks"] if a["name"] == "rh")
    assert (rh["least"], rh["most"]) == (0, 1)  # exact: a fraction


def scripts() -> dict[str, str]:
    folder = resources.files("tackfree.web").joinpath("static")
    return {
        e.name: e.read_text("utf-8")
        for e in folder.iterdir()
        if e.name.startswith("field") and e.name.endswith(".js")
    }


SAY = re.compile(r"say\(\s*(?:[^\"`()]*\?\s*)?\"([a-z][\w.-]*)\"(?:\s*:\s*\"([a-z][\w.-]*)\")?")


@pytest.mark.parametrize("language", words.LANGUAGES)
def test_every_sentence_of_the_scripts_is_there(language: str) -> None:
    have = field_words()[language]
    found = {w for text in scripts().values() for pair in SAY.findall(text) for w in pair if w}
    assert len(found) > 100
    assert sorted(found - set(have)) == []


@pytest.mark.parametrize("language", words.LANGUAGES)
def test_every_label_choice_and_kind_has_a_word(language: str) -> None:
    have = field_words()[language]
    lacking = []
    for form in FORMS:
        lacking += [f"record.kind.{form.kind}"]
        for ask in form.asks:
            lacking.append(f"label.{ask.name}")
            for choice in ask.choices:
                known = f"choice.{ask.name}.{choice}" in have or f"choice.{choice}" in have
                if not known:
                    lacking.append(f"choice.{ask.name}.{choice}")
    asked = {w for w in lacking if w not in have}
    assert asked == set()


def test_no_script_is_longer_than_a_screenful_of_ideas() -> None:
    assert {n: t.count("\n") for n, t in scripts().items() if t.count("\n") > 400} == {}


def test_the_document_holds_what_a_phone_needs(document: dict[str, Any]) -> None:
    assert document["schema"] == "tackfree.field/1"
    assert document["lacks"] == []
    assert document["job"]["id"] == "ALDER-ROW"
    section = document["sections"][0]
    coats = {c["id"]: c for c in section["coats"]}
    assert list(coats) == ["PRIMER", "BASE", "TOP"]
    base = coats["BASE"]
    assert base["layout"] == f"MK-{section['id']}-BASE"
    assert len(base["cells"]) == 12
    assert base["cells"][0]["outline"][0][0][0] == [0.0, 0.0]
    sheet = document["products"][base["product"]]
    # exact: the demo's own sheet, 5 °F of spread, 48 h on the wall clock
    assert sheet["limits"]["spread_min_k"] == pytest.approx(25 / 9)
    assert sheet["recoat_before_h"] == 48
    assert sheet["mix_steps"]
    assert "caution.isocyanate" in base["cautions"]
    assert base["cautions"][-1] == "caution.sheet-first"
    assert section["steps"]


def test_the_document_is_the_same_each_time(tmp_path: Path) -> None:
    out, bundle = make_job(tmp_path)
    first = json.dumps(document_of(out, bundle))
    assert json.dumps(document_of(out, bundle)) == first


def test_what_is_missing_is_named_and_the_rest_is_there(tmp_path: Path) -> None:
    out, bundle = make_job(tmp_path)
    (out / "stages" / "marks.json").write_text("{torn", "utf-8")
    (out / "stages" / "plan.json").unlink()
    (bundle / "job.toml").write_text("id = 3", "utf-8")
    found = document_of(out, bundle)
    assert set(found["lacks"]) == {"stages/marks.json", "stages/plan.json", "job.toml"}
    assert found["products"] == {}
    assert found["sections"][0]["coats"][0]["cells"] == []
    assert found["forms"]


def test_marks_cut_anew_reach_the_phones(tmp_path: Path) -> None:
    out, bundle = make_job(tmp_path)
    built = json.loads((out / "stages" / "marks.json").read_text("utf-8"))["layouts"]
    old = next(m for m in built if m["coat_id"] == "BASE")
    before = fresh_mark(read_out(out), bundle)
    kept = {**old["cells"][0], "layout": old["id"]}
    new = {**old, "id": "MK-NEW", "replaces": old["id"], "cells": [kept, old["cells"][1]]}
    path = bundle / ".tackfree" / "layouts" / f"{old['section_id']}.BASE.json"
    path.parent.mkdir(parents=True)
    path.write_text(json.dumps({"schema": "tackfree.marks/1", "layouts": [new]}), "utf-8")
    assert fresh_mark(read_out(out), bundle) != before
    sections = {s["id"]: s for s in document_of(out, bundle)["sections"]}
    coats = {c["id"]: c for c in sections[old["section_id"]]["coats"]}
    assert coats["BASE"]["layout"] == "MK-NEW"
    # a cell that was kept is still named by the layout it was cut in
    assert [c.get("layout") for c in coats["BASE"]["cells"]] == [old["id"], None]
    assert coats["TOP"]["layout"] == f"MK-{old['section_id']}-TOP"
