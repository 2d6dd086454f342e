"""The day strip: times on the axis, bars and their words, gaps, golden picture."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from datetime import datetime
from xml.etree import ElementTree as ET
from zoneinfo import ZoneInfo

import pytest
from tests.sheets.golden import same

from tackfree.sheets.day_strip import Bar, DayStrip, Span, day_strip_svg

NS = "{http://www.w3.org/2000/svg}"
ZONE = ZoneInfo("America/New_York")


def at(day: int, hour: int, minute: int = 0, month: int = 4) -> float:
    return datetime(2027, month, day, hour, minute, tzinfo=ZONE).timestamp()


def strip(**more: object) -> DayStrip:
    times = [at(23, 6) + 1800 * k for k in range(49)]
    hours = [6 + k / 2 for k in range(49)]
    turn = 2 * math.pi / 24
    plain = DayStrip(
        from_utc_s=at(23, 6),
        to_utc_s=at(24, 6),
        time_zone="America/New_York",
        at_utc_s=times,
        air_c=[16 + 7 * math.cos((h - 15) * turn) for h in hours],
        slab_c=[17 + 9 * math.cos((h - 15.5) * turn) for h in hours],
        dew_c=[8.5 + 1.5 * math.sin(h / 5) for h in hours],
        spread_min_k=5 / 1.8,
        rain=(Span(from_utc_s=at(24, 3), to_utc_s=at(24, 5), text="rain 0.09 in"),),
        dark=(Span(from_utc_s=at(23, 20), to_utc_s=at(24, 5, 40), text="dark"),),
        states=(
            Span(from_utc_s=at(23, 6), to_utc_s=at(23, 14, 30), word="wait", text="WAIT warming"),
            Span(from_utc_s=at(23, 14, 30), to_utc_s=at(23, 21), word="go", text="GO"),
            Span(from_utc_s=at(23, 21), to_utc_s=at(24, 6), word="measure", text="MEASURE dew"),
        ),
        shifts=(Span(from_utc_s=at(23, 15, 30), to_utc_s=at(23, 23, 30)),),
        bars=(
            Bar(from_utc_s=at(23, 16), to_utc_s=at(23, 18), text="S04 PRIMER", number=1),
            Bar(from_utc_s=at(23, 18), to_utc_s=at(23, 21), text="S03 BASE", number=2),
        ),
        stop_utc_s=at(23, 21, 30),
    )
    return replace(plain, **more)  # type: ignore[arg-type]


def texts(drawn: str) -> list[ET.Element]:
    return list(ET.fromstring(drawn).iter(f"{NS}text"))


def test_golden(request: pytest.FixtureRequest) -> None:
    same("day-strip.svg", day_strip_svg(strip()), request.config)


def test_golden_on_a_phone_at_night(request: pytest.FixtureRequest) -> None:
    drawn = day_strip_svg(strip(), width=360.0, palette="night")
    same("day-strip-360.svg", drawn, request.config)


def hours_on_axis(drawn: str) -> list[tuple[float, str]]:
    found = [
        (float(e.get("x") or 0), e.text or "")
        for e in texts(drawn)
        if re.fullmatch(r"\d\d", e.text or "") and e.get("text-anchor") == "middle"
    ]
    return sorted(found)


def test_hours_are_the_jobs_own() -> None:
    hours = [h for _, h in hours_on_axis(day_strip_svg(strip()))]
    assert hours == [f"{h % 24:02d}" for h in range(6, 31)]


def test_the_night_clocks_go_forward_has_no_two_o_clock() -> None:
    # published: US rule, second Sunday of March at 02:00; 14 March 2027
    odd = strip(from_utc_s=at(13, 22, month=3), to_utc_s=at(14, 6, month=3), bars=(), states=())
    hours = [h for _, h in hours_on_axis(day_strip_svg(odd))]
    assert hours == ["22", "23", "00", "01", "03", "04", "05", "06"]


def test_bars_stand_at_their_times() -> None:
    drawn = day_strip_svg(strip())
    x = {h: x for x, h in hours_on_axis(drawn)[:-1]}
    root = ET.fromstring(drawn)
    inks = [r for r in root.iter(f"{NS}rect") if r.get("class") == "f-ink"]
    assert [float(r.get("x") or 0) for r in inks] == pytest.approx([x["16"], x["18"]], abs=0.02)


def test_bars_and_their_words_share_no_place() -> None:
    many = tuple(
        Bar(from_utc_s=at(23, 16) + 1200 * k, to_utc_s=at(23, 16) + 1200 * (k + 1),
            text=f"S{k:02d} INTERMEDIATE", number=k)
        for k in range(6)
    )  # fmt: skip
    drawn = day_strip_svg(strip(bars=many))
    places = [(e.get("x"), e.get("y")) for e in texts(drawn) if "INTERMEDIATE" in (e.text or "")]
    assert len(set(places)) == 6
    assert len({y for _, y in places}) == 6  # each runs on past the next bar's start


def test_missing_data_breaks_the_curve_and_is_not_bridged() -> None:
    whole = day_strip_svg(strip(spread_min_k=None))
    gap = strip(spread_min_k=None)
    slab = list(gap.slab_c)
    slab[20:25] = [math.nan] * 5
    broken = day_strip_svg(replace(gap, slab_c=slab))
    heavy = re.compile(r'<path d="[^"]*" class="s-ink" fill="none" stroke="[^"]*" stroke-width="3"')
    assert len(heavy.findall(whole)) == 1
    assert len(heavy.findall(broken)) == 2
    assert "nan" not in broken.lower()


def test_no_weather_at_all_is_still_a_strip() -> None:
    bare = strip(at_utc_s=[], air_c=[], slab_c=[], dew_c=[], rain=(), states=())
    drawn = day_strip_svg(bare)
    assert "1  S04 PRIMER" in [e.text for e in texts(drawn)]
    assert "slab" not in [e.text for e in texts(drawn)]


def test_metric_sheets_have_metric_axes() -> None:
    assert any("°C" in (e.text or "") for e in texts(day_strip_svg(strip(units="si"))))
    assert any("°F" in (e.text or "") for e in texts(day_strip_svg(strip())))


def test_the_description_tells_it_to_those_who_hear_it() -> None:
    desc = ET.fromstring(day_strip_svg(strip())).find(f"{NS}desc")
    assert desc is not None
    assert "S03 BASE 18:00-21:00" in (desc.text or "")
    assert "stop 21:30" in (desc.text or "")
