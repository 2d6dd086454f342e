"""Canonical form and hash of whole entries, as any other program must make them too."""

from __future__ import annotations

import hashlib
import json
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from tackfree.record.canonical import spelled
from tackfree.record.checking import checked
from tackfree.record.entries import sha_of

VECTORS: list[dict[str, Any]] = json.loads(
    Path(__file__).with_name("vectors.json").read_text("utf-8")
)["vectors"]


@pytest.mark.parametrize("vector", VECTORS, ids=[v["shows"] for v in VECTORS])
def test_a_vector(vector: dict[str, Any]) -> None:
    # The text is spelled by the rules of RFC 8785; its numbers and keys are those of the
    # samples in test_canonical, so that a second implementation can be held against it.
    assert spelled(vector["entry"]) == vector["canonical"]
    assert hashlib.sha256(vector["canonical"].encode()).hexdigest() == vector["sha256"]
    assert sha_of(vector["entry"]) == vector["sha256"]
    one = checked(vector["entry"])
    assert one.doubts == ()
    assert one.sha == vector["sha256"]


def test_the_vectors_are_one_chain() -> None:
    for before, after in pairwise(VECTORS):
        assert after["entry"]["previous"] == before["sha256"]
        assert after["entry"]["seq"] == before["entry"]["seq"] + 1
    assert VECTORS[0]["entry"]["previous"] == ""
