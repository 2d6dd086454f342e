"""A small output folder, made by hand for the pages: two decks, a few sections."""

from __future__ import annotations

import json
import math
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

ZONE = ZoneInfo("America/New_York")
FIRST = date(2027, 4, 19)
SLOT = 1800
SLOT0 = int(datetime(2027, 4, 12, 0, 0, tzinfo=UTC).timestamp())
SLOTS = 48 * 28
COATS = ("PRIMER", "BASE", "TOP")
STEPS = ("PREP", "DETAILS", *COATS)


def slot(day: int, hour: float) -> int:
    """Slot of an hour of the job's clock, ``day`` days after the first."""
    at = datetime(2027, 4, 19, tzinfo=ZONE) + timedelta(days=day, hours=hour)
    return round((at.timestamp() - SLOT0) / SLOT)


def utc(s: float) -> float:
    return SLOT0 + s * SLOT


def figure(value: float, unit: str, formula: str, **inputs: tuple[float, str]) -> dict[str, Any]:
    return {
        "value": value,
        "unit": unit,
        "because": {
            "formula": formula,
            "inputs": [
                {"name": k, "value": v, "unit": u, "from": {"kind": "drawn", "text": "P1.dxf"}}
                for k, (v, u) in inputs.items()
            ],
            "source": {"kind": "exact", "text": ""},
        },
    }


def drawing(deck: str, names: list[str]) -> str:
    """Bays side by side, as the drawing room writes them: classes, attributes, no style."""
    wide = 880 / max(1, len(names))
    out = [
        '<svg xmlns="http://www.w3.org/2000/svg" class="tf" viewBox="0 0 960 640" width="960" '
        f'height="640" role="img" aria-labelledby="t d"><title id="t">{deck}</title>'
        '<desc id="d">seen from above</desc>'
        '<rect x="0" y="0" width="960" height="640" class="f-paper" fill="#f6f4ee"/>'
    ]
    for k, name in enumerate(names):
        x = 40 + k * wide
        d = f"M{x:.0f} 60L{x + wide:.0f} 60L{x + wide:.0f} 560L{x:.0f} 560Z"
        out.append(
            f'<g id="sec-{name}" class="sec state-go"><path d="{d}" fill-rule="evenodd" '
            'class="s-ink" fill="none" stroke="#1d2225" stroke-width="2.6"/></g>'
        )
    for k, name in enumerate(names):
        x = 40 + (k + 0.5) * wide
        out.append(
            f'<text x="{x - 16:.0f}" y="310" font-size="17.6" font-weight="bold" '
            f'class="f-ink" fill="#1d2225">{name}</text>'
        )
    out.append("</svg>")
    return "".join(out)


def make_out(out: Path, *, sections: int = 2, kind: str = "typical-year") -> Path:
    """Write the folder; P1 holds ``sections`` sections, P2 one."""
    p1 = [f"S{k:02d}" for k in range(1, sections + 1)]
    names = {"P1": p1, "P2": [f"S{sections + 1:02d}"]}
    every = [(deck, name) for deck, here in names.items() for name in here]
    (out / "stages").mkdir(parents=True)
    (out / "drawings").mkdir()
    (out / "shift").mkdir()

    write(out / "summary.json", {
        "schema": "tackfree.summary/1",
        "job": {"id": "ALDER-ROW", "name": "Alder Row Garage and Flats", "invented": True,
                "time_zone": "America/New_York", "as_of": "2027-04-12T07:00", "units": "us"},
        "decks": [{"id": "P1", "name": "Level 1", "post_tensioned": "no"},
                  {"id": "P2", "name": "Level 2", "post_tensioned": "unknown"}],
    })  # fmt: skip
    write(out / "run.json", {"built_at": "2027-04-12T11:00:00+00:00"})
    write(out / "stages/takeoff.json", {
        "schema": "tackfree.takeoff/1",
        "zones": [
            {
                "zone_id": f"{deck}-STALLS", "deck_id": deck, "name": "stalls", "duty": "light",
                "exposure": exposure(deck), "build_up_id": "BU-STALL", "outline_m2": 2800.0,
                "obstacles_m2": 12.9, "plan_m2": 2787.1, "slope_factor": 1.0, "field_m2": 2787.1,
                "upturn_m": 45.0, "upturn_m2": 4.5, "obstacle_edge_m": 60.0, "termination_m": 12.0,
                "drains": 6, "penetrations": 2, "stalls": 54,
                "cracks": [{"width_m": 0.0015875, "length_m": 75.0, "rout": True}],
                "joints": [{"width_m": 0.0127, "depth_m": 0.0127, "length_m": 50.6}],
                "figures": {
                    "plan_m2": figure(2787.1, "m²", "outline − obstacles",
                                      outline=(2800.0, "m²"), obstacles=(12.9, "m²")),
                    "field_m2": figure(2787.1, "m²", "plan × slope_factor",
                                       plan=(2787.1, "m²"), slope_factor=(1.0, "")),
                },
            }
            for deck in names
        ],
        "notes": ["One outline was closed over a gap of 3 mm."],
    })  # fmt: skip
    write(out / "stages/sections.json", {
        "schema": "tackfree.sections/1",
        "sections": [
            {"id": name, "deck_id": deck, "zone_ids": [f"{deck}-STALLS"], "build_up_id": "BU-STALL",
             "exposure": exposure(deck), "duty": "light", "developed_m2": 464.5, "stalls": 18}
            for deck, name in every
        ],
    })  # fmt: skip
    write(out / "stages/materials.json", {
        "schema": "tackfree.materials/1",
        "coats": [coat(name, c, k) for _, name in every for k, c in enumerate(COATS)],
        "details": [
            {"section_id": name, "kind": "crack-strip", "product_id": "HEN-D", "length_m": 40.0,
             "area_m2": 4.1, "volume_l": 3.0, "packages": 1, "figures": {}}
            for _, name in every
        ],
        "order": [
            {"product_id": f"HEN-{c[0]}", "unit": "kit", "needed": 300.0, "count": 12 * len(every),
             "leftover": 18.0, "figure": figure(12 * len(every), "", "sum of kits over sections")}
            for c in COATS
        ],
        "messages": [],
    })  # fmt: skip
    write(out / "stages/climate.json", {
        "schema": "tackfree.climate/1", "slot0_utc_s": SLOT0, "slot_s": SLOT, "weather_kind": kind,
        "air_c": [air(k) for k in range(SLOTS)],
        "dew_c": [7 + 2 * math.sin(k / 60) for k in range(SLOTS)],
        "surface_c": {
            "open-sky/bare": [2 * air(k) - 11 for k in range(SLOTS)],
            "covered/bare": [air(k) - 1 for k in range(SLOTS)],
        },
        "windows": [
            {"exposure": "covered", "build_up_id": "BU-STALL", "step_id": "PRIMER", "windows": [
                {"start_utc_s": utc(slot(0, 7)), "end_utc_s": utc(slot(0, 13)), "state": "go",
                 "reason": None},
                {"start_utc_s": utc(slot(0, 13)), "end_utc_s": utc(slot(0, 18)), "state": "wait",
                 "reason": {"id": "climate.wait.dew", "values": {
                     "number_f": 4, "number_k": 2.2, "limit_f": 5, "limit_k": 2.8}}},
            ]}
        ],
    })  # fmt: skip
    placed, opens, clocks = [], {}, []
    for k, (_, name) in enumerate(every):
        for j, step in enumerate(STEPS):
            begin = slot(2 * k + j, 7 if j % 2 else 13)
            placed.append({"task_id": f"{name}/{step}", "section_id": name, "step_id": step,
                           "crew_id": "CREW-1", "start": begin, "end": begin + 5})  # fmt: skip
            if step in COATS:
                clocks.append(clock(name, step, begin, begin + 5))
        opens[name] = slot(2 * k + 8, 10)
    last = slot(2 * len(every) + 8, 0)
    shifts = [
        {
            "shift_id": s,
            "on": (FIRST + timedelta(days=d)).isoformat(),
            "begin": slot(d, a),
            "end": slot(d, b),
        }
        for d in range(2 * len(every) + 8)
        for s, a, b in (("DAY", 7, 15.5), ("EVE", 15.5, 23.5))
    ]
    write(out / "stages/plan.json", {
        "schema": "tackfree.plan/1", "slot0_utc_s": SLOT0, "slot_s": SLOT,
        "problem": {
            "slot0_utc_s": SLOT0, "slot_s": SLOT, "slots": last, "shifts": shifts, "crews": [],
            "tasks": [
                {"id": p["task_id"], "section_id": p["section_id"], "step_id": p["step_id"],
                 "skill": "coating", "duration": 5, "starts": [[p["start"] - 2, p["start"] + 3]]}
                for p in placed
            ],
            "lags": [], "closures": [
                {"section_id": name, "stalls": 18, "first": f"{name}/{STEPS[0]}",
                 "last": f"{name}/{STEPS[-1]}", "open_at": []}
                for _, name in every
            ],
            "stalls_total": 108,
            "stalls_closed_max": 54,
        },
        "plan": {
            "status": "optimal", "placed": placed, "opens": opens, "seed": 0, "method": "cp",
            "stages": [{"name": "finish", "value": 12.0, "bound": 12.0, "bound_source": "CP-SAT"}],
            "reasons": [],
        },
    })  # fmt: skip
    write(out / "stages/clocks.json", {"schema": "tackfree.clocks/1", "clocks": clocks})
    for deck, here in names.items():
        (out / f"drawings/{deck}.svg").write_text(drawing(deck, here), "utf-8")
        (out / f"drawings/{deck}-plan.svg").write_text(drawing(deck, here), "utf-8")
    (out / "shift/2027-04-19-DAY.pdf").write_bytes(b"%PDF-1.7 made for a test\n")
    (out / "order.xlsx").write_bytes(b"PK made for a test\n")
    (out / "plan.ics").write_text("BEGIN:VCALENDAR\r\nEND:VCALENDAR\r\n", "utf-8")
    return out


def exposure(deck: str) -> str:
    return "covered" if deck == "P1" else "open-sky"


def air(k: int) -> float:
    return 15 + 6 * math.sin((k - 28) / 48 * 2 * math.pi)


def coat(section: str, coat_id: str, k: int) -> dict[str, Any]:
    return {
        "section_id": section, "coat_id": coat_id, "product_id": f"HEN-{coat_id[0]}",
        "area_m2": 464.5, "wft_um": 127.0 * (k + 1), "fill_um": 40.0, "fill_basis": "csp 3",
        "loss": 0.08, "net_l": 280.0, "gross_l": 302.8, "kit_l": 18.927, "kits": 16,
        "leftover_l": 0.03, "reach_m2": 29.0,
        "aggregate_product_id": "SAND-1630" if k == 1 else None,
        "aggregate_kg": 500.0 if k == 1 else 0.0, "bags": 23 if k == 1 else 0,
        "figures": {
            "kits": figure(16, "", "ceil(gross / kit)", gross=(302.8, "L"), kit=(18.927, "L"))
        },
    }  # fmt: skip


def clock(section: str, coat_id: str, begin: int, end: int) -> dict[str, Any]:
    def ends(hours: float) -> dict[str, float]:
        return {"careful_utc_s": utc(end) + hours * 3600 + 70,
                "hopeful_utc_s": utc(end) + hours * 2400}  # fmt: skip

    return {
        "section_id": section, "coat_id": coat_id, "placed_from_utc_s": utc(begin),
        "placed_to_utc_s": utc(end), "tack_free": ends(4), "recoat_after": ends(6),
        "recoat_before_utc_s": utc(begin) + 48 * 3600 + 70 if coat_id != "TOP" else None,
        "better_before_utc_s": None, "feet_after": ends(12), "cars_after": ends(72),
        "stalled_h": 0.0,
    }  # fmt: skip


def write(path: Path, document: dict[str, Any]) -> None:
    path.write_text(json.dumps(document, ensure_ascii=False), "utf-8")
