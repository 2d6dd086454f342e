"""Bad input: exit 1, a message that says where, what and what to do, nothing half-written."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from tackfree.cli.app import run


def swap(file: str, old: str, new: str, count: int = 1) -> Callable[[Path], None]:
    def spoil(bundle: Path) -> None:
        path = bundle / file
        text = path.read_text("utf-8")
        assert old in text, f"{file} has no {old!r}"
        path.write_text(text.replace(old, new, count), "utf-8")

    return spoil


def drop(file: str) -> Callable[[Path], None]:
    return lambda bundle: (bundle / file).unlink()


def overlap(bundle: Path) -> None:
    """Two zones on one outline of the drawing."""
    swap("decks/P1.toml", 'at = ["60 ft", "45 ft"]', 'at = ["9 ft", "45 ft"]')(bundle)


CASES: dict[str, tuple[Callable[[Path], None], list[str]]] = {
    "missing drawing": (drop("decks/P1.dxf"), ["P1.dxf"]),
    "missing weather": (drop("weather/723170TYA.CSV"), ["723170TYA.CSV"]),
    "missing products": (drop("products.toml"), ["products.toml"]),
    "wrong unit": (swap("buildups.toml", '"25 mil"', '"25 °F"'), ["wet_film", "25 °F"]),
    "no unit": (swap("buildups.toml", '"25 mil"', '"25"'), ["wet_film", "25"]),
    "zone without build-up": (
        swap("decks/P1.toml", 'build_up = "BU-STALL"', 'build_up = "BU-NONE"'),
        ["P1-STALL-A", "BU-NONE"],
    ),
    "product without solids": (
        swap("products.toml", 'volume_solids = "92 %"\n', ""),
        ["HEN-B", "volume_solids"],
    ),
    "solids over 1": (swap("products.toml", '"92 %"', '"192 %"'), ["volume_solids", "192"]),
    "coverage 0": (swap("buildups.toml", '"300 ft²/gal"', '"0 ft²/gal"'), ["coverage", "0"]),
    "overlapping zones": (overlap, ["P1-STALL-A", "P1-STALL-B"]),
    "weather ends too soon": (
        swap("job.toml", 'kind = "typical-year"', 'kind = "measured"'),
        ["2027"],
    ),
    "time zone unknown": (
        swap("job.toml", '"America/New_York"', '"America/Nowhere"'),
        ["time_zone", "America/Nowhere"],
    ),
    "as_of in a daylight-saving gap": (
        swap("job.toml", "2027-04-12T07:00:00", "2027-03-14T02:30:00"),
        ["as_of", "02:30"],
    ),
    "unknown key": (swap("job.toml", "units =", 'colour = "red"\nunits ='), ["colour"]),
    "broken TOML": (swap("spec.toml", "[limits]", "[limits"), ["spec.toml", "line"]),
    "kit parts do not add up": (
        swap("products.toml", 'volume = "2.5 gal" }, {', 'volume = "2.0 gal" }, {'),
        ["HEN-P", "part"],
    ),
    "film 0": (swap("buildups.toml", '"32 mil"', '"0 mil"'), ["wet_film", "0 mil", "above 0"]),
    "film below 0": (swap("buildups.toml", '"32 mil"', '"-32 mil"'), ["wet_film", "-32 mil"]),
    "a product that is missing": (
        swap("buildups.toml", 'product = "HEN-B"', 'product = "HEN-X"'),
        ["coats[1].product", "HEN-X", "Add its sheet"],
    ),
    "two currencies": (
        swap("price.toml", '"262.00 USD"', '"262.00 EUR"'),
        ["materials[1].each", "EUR", "one currency"],
    ),
    "sections of 0 ft²": (
        swap("job.toml", 'section_max = "6000 ft²"', 'section_max = "0 ft²"'),
        ["section_max", "0 ft²", "above 0"],
    ),
    "texture deeper than the coat": (
        swap("decks/P1.toml", "csp = 3 }", 'texture = "40 mil" }'),
        ["BU-STALL", "P1-STALL-A", "40.0 mil", "32.0 mil", "scratch coat"],
    ),
    "open time given twice": (
        swap("products.toml", "open_time = [", 'open_time = [{ at = "93 °F", lasts = "9 min" },'),
        ["open_time[2].at", "93 °F", "one open time"],
    ),
    "layer not on the drawing": (
        swap("decks/P1.toml", 'layer = "ZONE-LANE"', 'layer = "ZONE-LINE"'),
        ["ZONE-LINE", "P1.dxf"],
    ),
}


@pytest.mark.parametrize("name", CASES)
def test_bad_input(
    name: str,
    demo: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    spoil, wanted = CASES[name]
    bundle = tmp_path / "job"
    shutil.copytree(demo, bundle)
    spoil(bundle)
    out = tmp_path / "out"
    args = ["tackfree", "job", "build", str(bundle), "--out", str(out), "--json"]
    monkeypatch.setattr("sys.argv", args)
    with pytest.raises(SystemExit) as end:
        run()
    assert end.value.code == 1
    printed = capsys.readouterr()
    document = json.loads(printed.out)
    assert document["schema"] == "tackfree.refused/1"
    for row in document["refused"]:
        assert all(row[k].strip() for k in ("where", "what", "do")), row
    said = json.dumps(document, ensure_ascii=False)
    for words in wanted:
        assert words in said, said
    assert "Refused" in printed.err
    assert sorted(p.name for p in tmp_path.iterdir()) == ["job"]


def test_every_fault_at_once(demo: Path, tmp_path: Path) -> None:
    from tackfree.service import job

    bundle = tmp_path / "job"
    shutil.copytree(demo, bundle)
    for name in ("wrong unit", "zone without build-up", "product without solids", "unknown key"):
        CASES[name][0](bundle)
    faults, _ = job.check(bundle)
    said = " ".join(map(str, faults))
    for words in ("25 °F", "BU-NONE", "volume_solids", "colour"):
        assert words in said
    assert len(faults) >= 4


def test_a_kit_larger_than_a_section_is_no_fault(demo_out: Path) -> None:
    """A note offers to group sections placed together."""
    notes = json.loads((demo_out / "summary.json").read_text("utf-8"))["notes"]
    assert any("BAL-01-1" in n["text"] and "kit" in n["text"] for n in notes)
