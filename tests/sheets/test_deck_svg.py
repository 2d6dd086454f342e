"""The deck as a drawing: golden pictures, places of words, safe text."""

from __future__ import annotations

import re
from dataclasses import replace
from itertools import combinations
from xml.etree import ElementTree as ET

import pytest
from shapely import LineString, Point
from shapely.geometry import box
from tests.sheets import made
from tests.sheets.golden import same

from tackfree.deck.types import Deck, Feature, FeatureKind, PostTensioned
from tackfree.sheets.deck_svg import Corner, deck_svg, plan_svg
from tackfree.sheets.labels import Label, place_labels
from tackfree.sheets.svg import Box, word_box

NS = "{http://www.w3.org/2000/svg}"


def level_drawing(**more: object) -> str:
    deck = made.level()
    arguments: dict[str, object] = {
        "corner": Corner(title="P1 Covered level", lines=("ALDER-ROW · revision 3",)),
        "shade": {"S03": "tonight", "S04": "tonight", "S05": "wet", "S01": "done"},
        "labels": {"S03": ["BASE · 21 kits", "5,964 ft²"], "S04": ["PRIMER · 4 kits"]},
        "numbers": {"S03": 1, "S04": 2},
        "highlight": ["S03", "S04"],
        "north_deg": 20.0,
    }
    return deck_svg(deck, made.sections(deck), **{**arguments, **more})  # type: ignore[arg-type]


def texts(drawn: str) -> list[str]:
    return [e.text or "" for e in ET.fromstring(drawn).iter(f"{NS}text")]


def test_golden_level(request: pytest.FixtureRequest) -> None:
    same("deck-level.svg", level_drawing(), request.config)


def test_golden_level_on_a_phone(request: pytest.FixtureRequest) -> None:
    same("deck-level-360.svg", level_drawing(width=360.0, palette="night"), request.config)


def test_golden_balconies(request: pytest.FixtureRequest) -> None:
    deck, sections = made.balconies()
    drawn = deck_svg(deck, sections, numbers={"B1": 1, "B2": 2}, labels={"B3": ["TOP"]})
    same("deck-balconies.svg", drawn, request.config)


def test_golden_ramp(request: pytest.FixtureRequest) -> None:
    deck, sections = made.ramp()
    same("deck-ramp.svg", deck_svg(deck, sections), request.config)


def test_golden_plan(request: pytest.FixtureRequest) -> None:
    deck = made.level()
    sections = made.sections(deck)
    drawn = plan_svg(
        deck,
        sections,
        order=["S02", "X9", "S01", "S04", "S03"],
        dates={
            "S02": ["19 Apr to 24 Apr"],
            "S01": ["22 Apr to 27 Apr"],
            "S04": ["26 Apr to 30 Apr"],
        },
    )
    same("deck-plan.svg", drawn, request.config)
    # X9 is on no deck: numbers close up
    assert {"1", "2", "3", "4"} <= set(texts(drawn))


def test_same_bytes_twice() -> None:
    assert level_drawing() == level_drawing()


def test_section_groups_can_be_found_and_tapped() -> None:
    root = ET.fromstring(level_drawing(tappable=True))
    groups = {g.get("id"): g for g in root.iter(f"{NS}g") if g.get("class") != "label"}
    assert set(groups) == {f"sec-S{k:02d}" for k in range(1, 8)}
    assert groups["sec-S03"].get("tabindex") == "0"
    plain = ET.fromstring(level_drawing())
    assert all(g.get("tabindex") is None for g in plain.iter(f"{NS}g"))


def test_it_is_an_image_with_title_and_description() -> None:
    root = ET.fromstring(level_drawing())
    assert root.get("role") == "img"
    named = (root.get("aria-labelledby") or "").split()
    assert named == [root[0].get("id"), root[1].get("id")]
    assert "S03 (tonight)" in (root[1].text or "")


def test_dimensions_in_feet_and_metres() -> None:
    # published: 0.3048 m/ft exactly, NIST HB 44 App. C; 166 and 180 ft are the drawing's
    assert {"166 ft · 50.6 m", "180 ft · 54.9 m"} <= set(texts(level_drawing()))


def test_the_frame_places_metres() -> None:
    root = ET.fromstring(level_drawing())
    scale = float(root.get("data-px-per-m") or 0)
    left, top = float(root.get("data-left") or 0), float(root.get("data-top") or 0)
    d = next(g for g in root.iter(f"{NS}g") if g.get("id") == "sec-S07")[0].get("d") or ""
    # S07 is the topmost strip: its outline has the deck's upper corners
    xs = [float(v) for v in re.findall(r"[ML]([\d.]+) ", d)]
    ys = [float(v) for v in re.findall(r" ([\d.]+)", d)]
    assert min(xs) == pytest.approx(left, abs=0.01)
    assert min(ys) == pytest.approx(top, abs=0.01)
    assert max(xs) - min(xs) == pytest.approx(made.WIDE * scale, abs=0.05)


def placed_texts(element: ET.Element, turn: str = "") -> list[tuple[ET.Element, Box]]:
    """Every text with the rectangle it takes, a quarter turn included."""
    out = []
    turn = turn or element.get("transform") or ""
    if element.tag == f"{NS}text":
        size, x, y = (float(element.get(k) or 0) for k in ("font-size", "x", "y"))
        at = word_box(element.text or "", x, y, size, element.get("text-anchor") or "start")
        if turn:
            angle, cx, cy = (float(v) for v in re.findall(r"-?[\d.]+", turn))
            assert angle == -90
            # (dx, dy) goes to (dy, -dx)
            at = Box(x=cx + at.y - cy, y=cy - (at.x + at.w - cx), w=at.h, h=at.w)
        out.append((element, at))
    for child in element:
        if child.tag != f"{NS}defs":
            out += placed_texts(child, turn)
    return out


@pytest.mark.parametrize("width", [360.0, 408.0, 960.0, 1400.0])
@pytest.mark.parametrize("which", ["level", "balconies", "ramp"])
def test_no_words_lie_on_other_words(width: float, which: str) -> None:
    if which == "level":
        deck = made.level()
        sections = made.sections(deck)
    else:
        deck, sections = getattr(made, which)()
    long = {s.id: ["INTERMEDIATE · 21 kits", "12 Apr to 24 Apr"] for s in sections}
    drawn = deck_svg(
        deck, sections, labels=long, numbers={s.id: k for k, s in enumerate(sections)}, width=width
    )
    boxes = [(e.text, b) for e, b in placed_texts(ET.fromstring(drawn))]
    for (ta, a), (tb, b) in combinations(boxes, 2):
        assert not a.meets(b), (ta, tb)


def test_type_is_never_below_what_was_asked() -> None:
    sizes = [
        float(e.get("font-size") or 0) for e in ET.fromstring(level_drawing()).iter(f"{NS}text")
    ]
    assert min(sizes) >= 16


def test_a_label_without_room_loses_lines_then_itself() -> None:
    page = Box(x=0, y=0, w=100, h=60)

    def put(w: float, h: float) -> Label:
        label = Label(key="A", parts=(box(0, 0, w, h),), head="S01", lines=("one", "two"))
        return place_labels([label], obstacles=[], page=page, size=16)[0][0]

    assert put(100, 100).lines == ("one", "two")
    assert put(60, 44).lines == ("one",)
    assert put(100, 25).lines == ()
    assert not put(100, 100).turned
    assert (put(30, 100).turned, put(30, 100).lines) == (True, ())
    outside = put(20, 20)
    assert outside.box is not None
    assert outside.leader is not None
    nowhere = Label(key="A", parts=(box(0, 0, 100, 10),), head="S01", lines=())
    tight = Box(x=0, y=0, w=100, h=12)
    assert place_labels([nowhere], obstacles=[], page=tight, size=16)[0][0].box is None


def test_names_cannot_break_the_drawing() -> None:
    deck = replace(made.level(), name='<script>alert("x")</script> & co')
    drawn = deck_svg(deck, corner=Corner(title="<b>&"))
    root = ET.fromstring(drawn)
    assert not list(root.iter(f"{NS}script"))
    assert "<b>&" in texts(drawn)


def test_tendons_not_ruled_out_are_on_the_drawing() -> None:
    deck = made.level()
    assert not any("post-tensioned" in t for t in texts(deck_svg(deck)))
    unknown = replace(deck, post_tensioned=PostTensioned.UNKNOWN)
    assert "post-tensioned: unknown" in texts(deck_svg(unknown))


def test_north_is_drawn_only_where_known() -> None:
    assert "N" in texts(level_drawing())
    assert "N" not in texts(level_drawing(north_deg=None))


def test_stall_numbers_keep_off_openings() -> None:
    shown = texts(level_drawing())
    assert "101" in shown
    # stalls 153 and 154 lie under the opening of the made level
    assert not {"153", "154"} & set(shown)


def test_an_empty_deck_is_a_drawing_too() -> None:
    deck = Deck(id="E", name="Empty", zones=(), features=())
    ET.fromstring(deck_svg(deck))
    drain = Feature(id="D", kind=FeatureKind.DRAIN, geometry=Point(1, 1))
    ET.fromstring(deck_svg(replace(deck, features=(drain,))))


def test_words_of_two_gates_close_together_stay_apart() -> None:
    """An entrance and an exit 12 ft apart east of the middle: neither word lies on the
    other's triangle."""
    floor = box(0, 0, 50, 40)
    zone = replace(made.level().zones[0], outline=floor)
    gates = tuple(
        Feature(id=k.value, kind=k, geometry=Point(x, 0), connects=("street",))
        for k, x in ((FeatureKind.ENTRANCE, 40.0), (FeatureKind.EXIT, 43.7))
    )
    deck = replace(made.level(), zones=(zone,), features=gates)
    root = ET.fromstring(deck_svg(deck))
    ns = "{http://www.w3.org/2000/svg}"
    words = {t.text: t for t in root.iter(f"{ns}text") if t.text in ("in", "out")}
    tips = [
        [float(v) for v in p.get("points", "").replace(",", " ").split()][0::2]
        for p in root.iter(f"{ns}polygon")
    ]
    for word in ("in", "out"):
        at = float(words[word].get("x", "0"))
        long = len(word) * 16 * 0.75
        left = at if words[word].get("text-anchor") == "start" else at - long
        for xs in tips:
            assert max(xs) <= left or min(xs) >= left + long, (word, xs)


def test_what_a_revision_added_and_removed_is_drawn() -> None:
    text = deck_svg(made.level(), came=[Point(3, 3)], went=[LineString([(1, 1), (5, 1)])])
    assert text.count(">+<") == 1
    assert text.count(">−<") == 1
