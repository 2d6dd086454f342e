"""Decks saved by the tracing editor: judged as a build judges them, kept, never lost."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.intake.pdf_cases import PLAIN, pdf

from tackfree.bundle.load import check as bundle_faults
from tackfree.errors import NotFound, Refused
from tackfree.service import job
from tackfree.service.pipeline import Pipeline
from tackfree.service.trace import keep, said, sent, state
from tackfree.service.trace.deckfile import deck_text, plain_text
from tackfree.service.trace.judge import root_of
from tackfree.service.trace.refuse import Changed, NotTaken

FT = 0.3048
FT2 = FT**2


@pytest.fixture
def root(tmp_path: Path) -> Path:
    """A new job: one deck MAIN of 30 × 18 m."""
    job.new(tmp_path / "job")
    return tmp_path / "job"


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo job, to be read only."""
    folder = tmp_path_factory.mktemp("demo") / "job"
    job.new(folder, demo=True)
    return folder


def box(x: float, y: float, wide: float, high: float) -> dict[str, Any]:
    ring = [[x, y], [x + wide, y], [x + wide, y + high], [x, y + high], [x, y]]
    return {"type": "Polygon", "coordinates": [ring]}


def zone(ident: str, shape: dict[str, Any] | None, **more: Any) -> dict[str, Any]:
    return {
        "id": ident, "name": ident, "duty": "pedestrian", "exposure": "open-sky",
        "build_up": "BU-WALK", "shape": shape, **more,
    }  # fmt: skip


def deck(root: Path, ident: str = "D1", **more: Any) -> sent.SentDeck:
    """A deck as the editor sends it; ``base`` is what lies on disk now."""
    raw = {
        "base": base(root, ident), "id": ident, "name": ident, "post_tensioned": "no",
        "zones": [zone(f"{ident}-Z1", box(0, 0, 10, 10))], "features": [], **more,
    }  # fmt: skip
    return sent.read_sent(json.dumps(raw).encode())


def base(root: Path, ident: str) -> str:
    try:
        return state.state_of(root, ident)["base"]
    except NotFound:
        return ""


def again(root: Path, ident: str, **changes: Any) -> sent.SentDeck:
    """What the editor sends when a deck is opened and some of it changed."""
    opened = state.state_of(root, ident)
    zones = [
        {k: z[k] for k in ("id", "name", "duty", "exposure", "build_up", "slope")}
        | {"shape": z["shape"] if z["from"] == "traced" else None}
        for z in opened["zones"]
    ]
    features = [
        {k: v for k, v in f.items() if k != "from"}
        for f in opened["features"]
        if f["from"] == "traced"
    ]
    raw = {k: opened[k] for k in ("base", "id", "name", "post_tensioned", "drawing", "page",
                                  "calibration", "stretched")}  # fmt: skip
    return sent.read_sent(
        json.dumps(raw | {"zones": zones, "features": features} | changes).encode()
    )


def test_a_traced_deck_is_part_of_the_job_at_once(root: Path) -> None:
    done = keep.save(root, deck(root))
    made = Pipeline.of(root)
    taken = {z.zone_id: z for z in made.takeoff.zones}
    # by hand: 10 × 10 m
    assert taken["D1-Z1"].field_m2 == pytest.approx(100, abs=1e-9)
    assert done.verdict.takeoff is not None
    assert done.verdict.takeoff.zones[0].field_m2 == taken["D1-Z1"].field_m2
    assert job.check(root)[0] == ()
    assert any(s.deck_id == "D1" for s in made.sections.sections)


def test_a_job_without_decks_gets_its_first_one(root: Path) -> None:
    for path in (root / "decks").iterdir():
        path.unlink()
    assert bundle_faults(root)
    keep.save(root, deck(root))
    assert bundle_faults(root) == ()
    assert [z.zone_id for z in Pipeline.of(root).takeoff.zones] == ["D1-Z1"]


def test_the_judge_sees_what_a_build_would_refuse(root: Path) -> None:
    bow_tie = {"type": "Polygon", "coordinates": [[[0, 0], [9, 9], [9, 0], [0, 9], [0, 0]]]}
    verdict = keep.check(root, deck(root, zones=[zone("D1-Z1", bow_tie)]))
    assert "crosses itself" in verdict.own[0].what
    overlap = deck(root, zones=[zone("A", box(0, 0, 10, 10)), zone("B", box(9, 0, 10, 10))])
    # by hand: 1 × 10 m lies over itself
    assert "overlap by 10.00 m²" in keep.check(root, overlap).own[0].what
    flat = {"type": "Polygon", "coordinates": [[[0, 0], [9, 0], [18, 0], [0, 0]]]}
    assert keep.check(root, deck(root, zones=[zone("A", flat)])).own
    unknown = deck(root, zones=[zone("A", box(0, 0, 1, 1), build_up="BU-NONE")])
    assert "no build-up BU-NONE" in keep.check(root, unknown).own[0].what
    twice = deck(root, zones=[zone("MAIN-FIELD", box(0, 0, 1, 1))])
    assert "twice" in " ".join(f.what for f in keep.check(root, twice).elsewhere)
    for bad in (overlap, unknown):
        with pytest.raises(Refused):
            keep.save(root, bad)
    assert not (root / "decks/D1.toml").exists()
    assert not list(root.glob(".tackfree/trace-*"))


def test_a_fault_elsewhere_does_not_stop_a_deck(root: Path) -> None:
    path = root / "decks/MAIN.toml"
    path.write_text(path.read_text().replace('"MAIN.geojson"', '"GONE.geojson"'))
    done = keep.save(root, deck(root))
    assert done.verdict.takeoff is not None
    assert any("GONE" in f.what for f in done.verdict.elsewhere)
    text = (root / "products.toml").read_text().replace("volume_solids", "solids")
    (root / "products.toml").write_text(text)
    again_done = keep.save(root, again(root, "D1", name="Still saved"))
    assert again_done.verdict.takeoff is None  # products must be in order to take off
    assert any(f.where.startswith("products.toml") for f in again_done.verdict.elsewhere)


def test_a_save_against_a_changed_deck_is_refused_and_nothing_lost(root: Path) -> None:
    mine = again(root, "MAIN", name="Mine")
    path = root / "decks/MAIN.toml"
    theirs = path.read_text().replace('"Main deck"', '"Theirs"')
    path.write_text(theirs)
    with pytest.raises(Changed) as refusal:
        keep.save(root, mine)
    assert "record" in refusal.value.do
    assert path.read_text() == theirs
    done = keep.save(root, mine, over=True)
    assert tomllib.loads(path.read_text())["name"] == "Mine"
    # the state that was saved over is a revision of the record
    kept = keep.former_state(root, "MAIN", done.revision - 1)
    assert kept["name"] == "Theirs"
    assert kept["base"] == done.base


def test_every_former_state_can_be_brought_back(root: Path) -> None:
    for wide in (10, 20, 30):
        zones = [zone("D1-Z1", box(0, 0, wide, 10))]
        keep.save(root, deck(root, zones=zones) if wide == 10 else again(root, "D1", zones=zones))
    found = keep.former(root, "D1")
    assert [f.number for f in found] == sorted((f.number for f in found), reverse=True)
    areas = []
    for f in reversed(found):
        shape = keep.former_state(root, "D1", f.number)["zones"][0]["shape"]
        areas.append(max(x for x, _ in shape["coordinates"][0]))
    assert areas == [10, 20, 30]
    first = keep.former_state(root, "D1", found[-1].number)
    back = again(root, "D1", zones=[{**zone("D1-Z1", first["zones"][0]["shape"])}])
    keep.save(root, back)
    assert len(keep.former(root, "D1")) == 4
    with pytest.raises(NotFound):
        keep.former_state(root, "D1", 99)


def test_a_crash_between_the_two_files_leaves_a_job_that_opens(
    root: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    keep.save(root, deck(root))
    more = again(root, "D1", zones=[zone("D1-Z1", box(0, 0, 10, 10)),
                                    zone("D1-Z2", box(10, 0, 10, 10))])  # fmt: skip
    written = []

    def one_only(path: Path, data: str) -> None:
        if written:
            raise OSError("the disk is gone")
        written.append(path)
        path.write_text(data)

    monkeypatch.setattr(keep, "write_atomic", one_only)
    with pytest.raises(OSError, match="gone"):
        keep.save(root, more)
    monkeypatch.undo()
    assert written[0].suffix == ".geojson"
    assert [z.zone_id for z in Pipeline.of(root).takeoff.zones if z.deck_id == "D1"] == ["D1-Z1"]
    keep.save(root, again(root, "D1"))  # and it can be saved again


def test_a_deck_put_away_stays_in_the_record(root: Path) -> None:
    keep.save(root, deck(root))
    number = keep.put_away(root, "D1", base(root, "D1"))
    assert not (root / "decks/D1.toml").exists()
    assert not (root / "decks/D1.geojson").exists()
    assert keep.former_state(root, "D1", number)["zones"][0]["id"] == "D1-Z1"
    with pytest.raises(Changed):
        keep.put_away(root, "MAIN", "another")


def test_calibration_is_stored_as_the_readers_of_drawings_expect(root: Path) -> None:
    (root / "decks/plan.pdf").write_bytes(pdf(PLAIN))
    lengths = [
        {"start": [40, 40], "end": [760, 40], "length": "200 ft"},
        {"start": [40, 40], "end": [40, 400], "length": "100 ft"},
    ]
    keep.save(root, deck(root, drawing="plan.pdf", calibration=lengths))
    opened = state.state_of(root, "D1")
    # by hand: 200 ft over 720 pt
    assert opened["scale_m"] == pytest.approx([200 * FT / 720] * 2)
    assert opened["ground"] == {"kind": "pdf", "size": [800.0, 600.0], "pages": 1, "vector": True}
    raw = tomllib.loads((root / "decks/D1.toml").read_text())
    assert raw["drawing"] == "plan.pdf"
    assert [c["length"] for c in raw["calibration"]] == ["200 ft", "100 ft"]
    # the reader of PDF layers takes the same scale: a zone by the page's own lines
    raw["zones"][0] |= {"id": "D1-L", "layer": "2.00 pt #000000"}
    (root / "decks/D1.toml").write_text(plain_text(raw))
    taken = {z.zone_id: z for z in Pipeline.of(root).takeoff.zones}
    assert taken["D1-L"].outline_m2 == pytest.approx(20_000 * FT2, rel=1e-6)


def test_two_lengths_tell_by_how_much_they_differ() -> None:
    level = ((40.0, 40.0), (760.0, 40.0), "200 ft")
    found = said.scale_said([level, ((40, 40), (40, 400), "101 ft")], stretched=False, file="")
    # by hand: 101 / 360 against 200 / 720 is 1 % more
    assert found["off_percent"] == pytest.approx(1.0)
    assert found["agrees"] is False
    both = said.scale_said([level, ((40, 40), (40, 400), "101 ft")], stretched=True, file="")
    assert both["scale_m"] == pytest.approx([200 * FT / 720, 101 * FT / 360])
    metric = said.scale_said([((0, 0), (100, 0), "36,75 m")], stretched=False, file="")
    assert metric["scale_m"][0] == pytest.approx(0.3675)
    assert said.length_said("120 ft 6 in", "us")["length_m"] == pytest.approx(120.5 * FT)
    with pytest.raises(ValueError, match="no unit"):
        said.length_said("12", "us")


def test_a_drawn_deck_opens_with_what_its_layers_hold(demo: Path) -> None:
    opened = state.state_of(demo, "P2")
    assert opened["faults"] == []
    assert opened["scale_m"] == pytest.approx([FT, FT])
    zones = {z["id"]: z for z in opened["zones"]}
    assert {z["from"] for z in zones.values()} == {"layer"}
    assert all(z["shape"] for z in zones.values())
    kinds = {f["kind"] for f in opened["features"]}
    assert {"column", "drain", "crack", "joint", "upturn", "stall"} <= kinds
    assert {b["id"] for b in opened["build_ups"]} == {"BU-STALL", "BU-LANE", "BU-RAMP", "BU-BALC"}


def test_features_are_added_to_a_drawn_deck_and_its_comments_stay(tmp_path: Path) -> None:
    root = tmp_path / "job"
    job.new(root, demo=True)
    before = (root / "decks/P2.toml").read_text()
    old = {z.zone_id: z for z in Pipeline.of(root).takeoff.zones}
    crack = {
        "id": "P2-CRACK-900", "kind": "crack", "width_m": 0.003175,
        "shape": {"type": "LineString", "coordinates": [[1, 20], [4, 24]]},
    }  # fmt: skip
    keep.save(root, again(root, "P2", features=[crack]))
    new = {z.zone_id: z for z in Pipeline.of(root).takeoff.zones}

    def wide(z: Any) -> float:
        return sum(c.length_m for c in z.cracks if abs(c.width_m - 0.003175) < 1e-9)

    gained = sum(wide(z) for z in new.values()) - sum(wide(z) for z in old.values())
    # by hand: 3 m over, 4 m along; P2's floor falls 1.5 % along x, 45 mm over the 3 m
    assert gained == pytest.approx((5**2 + 0.045**2) ** 0.5, abs=1e-6)
    assert {k: z.field_m2 for k, z in new.items()} == {k: z.field_m2 for k, z in old.items()}
    after = (root / "decks/P2.toml").read_text()
    assert [x for x in after.splitlines() if x.startswith("#")] == [
        x for x in before.splitlines() if x.startswith("#")
    ]
    gone = set(before.splitlines()) - set(after.splitlines())
    assert gone == set()


def test_a_drawn_zone_is_corrected_by_tracing_it(tmp_path: Path) -> None:
    root = tmp_path / "job"
    job.new(root, demo=True)
    opened = state.state_of(root, "P2")
    first = next(z for z in opened["zones"] if z["id"] == "P2-STALL-A")
    ring = [[x, min(y, 40.0)] for x, y in first["shape"]["coordinates"][0]]
    assert ring != first["shape"]["coordinates"][0]
    zones = [
        {k: z[k] for k in ("id", "name", "duty", "exposure", "build_up", "slope")}
        | {"shape": {"type": "Polygon", "coordinates": [ring]} if z is first else None}
        for z in opened["zones"]
    ]
    keep.save(root, again(root, "P2", zones=zones))
    raw = tomllib.loads((root / "decks/P2.toml").read_text())
    traced = next(z for z in raw["zones"] if z["id"] == "P2-STALL-A")
    assert "layer" not in traced
    assert "at" not in traced
    assert traced["substrate"] == {"kind": "bare-concrete", "csp": 3}
    assert Pipeline.of(root).drawings.decks


def test_taking_features_over_counts_each_of_them_once(tmp_path: Path) -> None:
    root = tmp_path / "job"
    job.new(root, demo=True)
    before = {z.zone_id: z.obstacles_m2 for z in Pipeline.of(root).takeoff.zones}
    opened = state.state_of(root, "P1")
    columns = [
        {k: v for k, v in f.items() if k != "from"}
        for f in opened["features"]
        if f["kind"] == "column"
    ]
    keep.save(root, again(root, "P1", features=columns, released=["column"]))
    after = {z.zone_id: z.obstacles_m2 for z in Pipeline.of(root).takeoff.zones}
    assert after == pytest.approx(before, abs=1e-4)
    raw = tomllib.loads((root / "decks/P1.toml").read_text())
    assert "column" not in {f["kind"] for f in raw["features"]}


def test_a_deck_with_faults_still_opens_to_be_mended(root: Path) -> None:
    path = root / "decks/MAIN.geojson"
    rows = json.loads(path.read_text())
    rows["features"][0]["geometry"]["coordinates"] = [[[0, 0], [30, 18], [30, 0], [0, 18], [0, 0]]]
    rows["features"].append(
        {
            "type": "Feature",
            "properties": {"id": "OLD", "kind": "zone"},
            "geometry": box(40, 0, 5, 5),
        }
    )
    rows["features"].append(
        {
            "type": "Feature",
            "properties": {"id": "X", "kind": "bench"},
            "geometry": box(50, 0, 1, 1),
        }
    )
    path.write_text(json.dumps(rows))
    opened = state.state_of(root, "MAIN")
    assert opened["zones"][0]["shape"]["coordinates"][0][1] == [30, 18]
    assert [s["id"] for s in opened["spare"]] == ["OLD"]
    mended = again(root, "MAIN", zones=[zone("MAIN-FIELD", box(0, 0, 30, 18))])
    keep.save(root, mended)
    kept = json.loads(path.read_text())["features"]
    # rows that are nobody's zone and no feature of ours are carried on
    assert {"OLD", "X"} <= {r["properties"]["id"] for r in kept}
    assert job.check(root)[0] == ()


def test_a_zip_and_a_missing_bundle_are_said(tmp_path: Path) -> None:
    (tmp_path / "job.zip").write_bytes(b"PK")
    with pytest.raises(NotTaken, match="zip"):
        root_of(tmp_path / "job.zip")
    with pytest.raises(NotTaken):
        root_of(None)
    with pytest.raises(NotFound):
        root_of(tmp_path / "nothing")


EMPTY = b'{"id": "D1", "name": "x", "post_tensioned": "no", "zones": [], "features": []}'


@pytest.mark.parametrize(
    "body",
    [
        b"", b"[]", b"{", b'{"id": "D1"}', b"\xff\xfe", b'{"a": ' * 3000,
        EMPTY.replace(b"D1", b"d1"),
        EMPTY.replace(b'"no"', b'"maybe"'),
        EMPTY.replace(b"{", b'{"more": 1, '),
    ],
)  # fmt: skip
def test_junk_is_refused_with_its_place(body: bytes) -> None:
    with pytest.raises(Refused) as refusal:
        sent.read_sent(body)
    assert all(f.where and f.what and f.do for f in refusal.value.faults)


@pytest.mark.parametrize(
    "coordinates",
    [[], [[]], [[[0, 0]]], [[[0, 0], [1, 0]]], [["a", "b"]], [[[0, 1e999], [1, 0], [1, 1]]]],
)
def test_a_shape_that_is_none_is_refused_by_name(root: Path, coordinates: Any) -> None:
    shape = {"type": "Polygon", "coordinates": coordinates}
    try:
        bad = deck(root, zones=[zone("D1-Z1", shape)])
    except Refused:
        return  # not even numbers
    with pytest.raises(Refused) as refusal:
        keep.check(root, bad)
    assert refusal.value.faults[0].where == "zone D1-Z1"


TEXT = st.text(
    st.characters(codec="utf-8", exclude_categories=("Cs", "Cc")), min_size=1, max_size=12
)
VALUE = st.one_of(TEXT, st.booleans(), st.integers(-9, 9), st.floats(-1e3, 1e3),
                  st.lists(st.integers(0, 9), max_size=3))  # fmt: skip
TABLE = st.dictionaries(st.from_regex(r"[a-z_]{1,6}", fullmatch=True), VALUE, max_size=4)


@given(
    head=TABLE, zones=st.lists(TABLE, max_size=3), wanted=TABLE, later=st.lists(TABLE, max_size=3)
)
@settings(max_examples=150, deadline=None)
def test_a_deck_document_always_reads_back_as_wanted(
    head: dict[str, Any], zones: list[Any], wanted: dict[str, Any], later: list[Any]
) -> None:
    reserved = ("zones", "features", "calibration")
    head, wanted = ({k: v for k, v in t.items() if k not in reserved} for t in (head, wanted))
    former = plain_text(head | {"zones": [z | {"id": f"Z{i}"} for i, z in enumerate(zones)]})
    now = wanted | {"zones": [z | {"id": f"Z{i}"} for i, z in enumerate(later)]}
    if not later:
        del now["zones"]
    assert tomllib.loads(deck_text(former, now)) == now
    assert tomllib.loads(deck_text("", now)) == now


def test_only_what_changed_is_written_anew() -> None:
    former = (
        '# top\nid = "A"  # id\nname = "Old"\n\n# first zone\n[[zones]]\nid = "Z1"\n'
        'duty = "light"  # why\n\n# second\n[[zones]]\nid = "Z2"\nduty = "heavy"\n'
    )
    wanted = tomllib.loads(former) | {"name": "New"}
    wanted["zones"] = [{"id": "Z2", "duty": "light"}, {"id": "Z3", "duty": "heavy"}]
    text = deck_text(former, wanted)
    assert text.splitlines()[:3] == ["# top", 'id = "A"  # id', 'name = "New"']
    assert "# second" in text
    assert "# first zone" not in text
    assert tomllib.loads(text) == wanted
