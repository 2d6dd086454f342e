"""The committed JSON Schemas are those of the models, and judge as they do."""

from __future__ import annotations

import json
import tomllib
from datetime import date, datetime, time
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from tackfree.bundle.schemas import SCHEMAS, schema_text, write

ROOT = Path(__file__).resolve().parents[2]
DOCUMENTS = {
    "job": ["demo/job/job.toml"],
    "spec": ["demo/job/spec.toml", "src/tackfree/assets/newjob/spec.toml"],
    "products": ["demo/job/products.toml", "src/tackfree/assets/newjob/products.toml"],
    "buildups": ["demo/job/buildups.toml", "src/tackfree/assets/newjob/buildups.toml"],
    "price": ["demo/job/price.toml"],
    "moves": ["tests/bundle/moves.toml"],
    "deck": [
        "demo/job/decks/P1.toml",
        "demo/job/decks/P2.toml",
        "demo/job/decks/BAL.toml",
        "src/tackfree/assets/newjob/decks/MAIN.toml",
    ],
}


def as_json(value: Any) -> Any:
    """TOML's dates and times as JSON has them."""
    if isinstance(value, dict):
        return {k: as_json(v) for k, v in value.items()}
    if isinstance(value, list):
        return [as_json(v) for v in value]
    return value.isoformat() if isinstance(value, date | time | datetime) else value


@pytest.mark.parametrize("name", sorted(SCHEMAS))
def test_the_committed_schema_is_the_model(name: str) -> None:
    committed = (ROOT / "docs" / "schemas" / f"{name}.schema.json").read_text("utf-8")
    assert committed == schema_text(name), "run `make schemas`"


@pytest.mark.parametrize("name", sorted(SCHEMAS))
def test_a_schema_is_sound_and_takes_our_documents(name: str) -> None:
    schema = json.loads(schema_text(name))
    jsonschema.Draft202012Validator.check_schema(schema)
    validator = jsonschema.Draft202012Validator(schema)
    for path in DOCUMENTS[name]:
        document = as_json(tomllib.loads((ROOT / path).read_text("utf-8")))
        assert list(validator.iter_errors(document)) == [], path
        assert not validator.is_valid({**document, "schema_version": 2})
        assert not validator.is_valid({**document, "surprise": 1})


def test_a_schema_says_what_a_quantity_looks_like() -> None:
    coat = json.loads(schema_text("buildups"))["$defs"]["CoatDoc"]["properties"]
    assert coat["wet_film"]["examples"] == ["25 mil", "640 µm"]
    assert coat["wet_film"]["type"] == "string"
    text = schema_text("products")
    assert '"null"' not in text  # TOML has none


def test_writing_gives_the_same_files(tmp_path: Path) -> None:
    names = [p.name for p in write(tmp_path / "new")]
    assert names == [f"{n}.schema.json" for n in SCHEMAS]
