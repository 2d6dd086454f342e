"""Whatever a document holds, the answer is faults, never a crash."""

from __future__ import annotations

import copy
import tomllib
from datetime import date, datetime, time
from pathlib import Path
from typing import Any

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tackfree.bundle.checks import all_faults
from tackfree.bundle.documents.deck import DeckDocument
from tackfree.bundle.read import MODELS, Documents, take

SAMPLE = Path(__file__).resolve().parent / "job"
RAW = {
    path.relative_to(SAMPLE).as_posix(): tomllib.loads(path.read_text("utf-8"))
    for path in sorted(SAMPLE.rglob("*.toml"))
}
JUNK = st.one_of(
    st.integers(-5, 5),
    st.sampled_from(
        [10**400, float("nan"), float("inf"), -1.5, True, "", "x\0", "x" * 300, "-0 mil"]
    ),
    st.sampled_from([[], {}, [[]], [{}], [1, "a"], {"id": 3}, {"id": "A"}, [{"id": "A"}] * 2]),
    st.sampled_from([date(2027, 1, 1), date.max, time(2, 30), datetime.min, datetime.max]),
    st.text(max_size=8),
)


def places(node: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """Every path of a document."""
    found = [path] if path else []
    children = node.items() if isinstance(node, dict) else enumerate(node)
    for key, value in children:
        if isinstance(value, dict | list):
            found += places(value, (*path, key))
        else:
            found.append((*path, key))
    return found


PLACES = [(file, path) for file, raw in RAW.items() for path in places(raw)]


@settings(max_examples=50, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(st.tuples(st.sampled_from(PLACES), JUNK, st.booleans()), min_size=1, max_size=4))
def test_junk_anywhere_gives_faults_and_no_crash(changes: list[Any]) -> None:
    raw = copy.deepcopy(RAW)
    for (file, path), junk, added in changes:
        node: Any = raw[file]
        for step in path[:-1]:
            try:
                node = node[step]
            except (KeyError, IndexError, TypeError):
                break  # an earlier change took it away
        else:
            if isinstance(node, dict):
                node[f"{path[-1]}-x" if added else path[-1]] = junk
            elif isinstance(node, list) and node:
                node[-1] = junk
    docs = Documents(root=SAMPLE)
    for file, one in raw.items():
        take(docs, file, MODELS.get(file, DeckDocument), one)
    for fault in all_faults(docs):
        assert fault.where
        assert fault.what
        assert fault.do
