"""``weather read``: one file, looked at before it is trusted."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np

from tackfree.climate.types import WeatherSeries
from tackfree.climate.typical import COLUMNS
from tackfree.errors import InputError
from tackfree.intake.weather import read_weather
from tackfree.intake.weather.logger import Mapping
from tackfree.words import say


def mapping_of(
    *,
    columns: list[str],
    units: list[str],
    time: str,
    zone: str,
    day_first: bool | None,
    decimal: str,
    file: Path | None,
) -> Mapping | None:
    """A mapping from options ``ours=theirs``, or from its file; None where nothing is given.

    Raises
    ------
    InputError
        If an option is not of that form.
    """
    if file is not None:
        return Mapping.read(file.read_text("utf-8"), file.name)

    def pairs(texts: list[str], where: str) -> dict[str, str]:
        found = {}
        for text in texts:
            ours, mark, theirs = text.partition("=")
            if not mark or not ours or not theirs:
                raise InputError(f"{text!r} has no =.", where=where, do="Write air_c=Temp.")
            found[ours.strip()] = theirs.strip()
        return found

    if not (columns or units or time or zone or decimal or day_first is not None):
        return None
    return Mapping(
        columns=pairs(columns, "--column"),
        units=pairs(units, "--unit"),
        time=time,
        zone=zone,
        day_first=day_first,
        decimal=decimal,
    )


def report(series: WeatherSeries) -> dict[str, Any]:
    """What a series holds and what was filled, dropped or doubted."""
    end = series.start_utc_s + len(series) * series.step_s
    columns = {}
    for name in COLUMNS:
        values = getattr(series, name)
        known = values[np.isfinite(values)]
        columns[name] = {
            "known": int(known.size),
            "unknown": int(values.size - known.size),
            "least": float(known.min()) if known.size else None,
            "mean": float(known.mean()) if known.size else None,
            "most": float(known.max()) if known.size else None,
            "tag": series.tags.get(name, "instant"),
        }
    return {
        "origin": series.origin,
        "kind": series.kind,
        "starts": datetime.fromtimestamp(series.start_utc_s, UTC),
        "ends": datetime.fromtimestamp(end, UTC),
        "step_s": series.step_s,
        "intervals": len(series),
        "issued": None
        if series.issued_utc_s is None
        else datetime.fromtimestamp(series.issued_utc_s, UTC),
        "latitude_deg": series.latitude_deg,
        "longitude_deg": series.longitude_deg,
        "wet_without_amount": 0 if series.wet is None else int(series.wet.sum()),
        "columns": columns,
        "notes": [{**m.to_json(), "text": say(m)} for m in series.messages],
    }


def read(path: Path, format: str, mapping: Mapping | None) -> dict[str, Any]:
    """The report of one file."""
    return report(read_weather(path, format, mapping))


def read_text(document: dict[str, Any]) -> str:
    """The report for people."""
    lines = [
        document["origin"],
        f"{document['kind']}, {document['intervals']:,} hours, "
        f"{document['starts']:%Y-%m-%d %H:%M} to {document['ends']:%Y-%m-%d %H:%M} UTC",
    ]
    if document["issued"]:
        lines.append(f"issued {document['issued']:%Y-%m-%d %H:%M} UTC")
    lines += ["", f"{'column':16}{'known':>8}{'unknown':>9}{'least':>10}{'mean':>10}{'most':>10}"]
    for name, c in document["columns"].items():
        numbers = "".join(
            f"{'-':>10}" if c[k] is None else f"{c[k]:>10.2f}" for k in ("least", "mean", "most")
        )
        lines.append(f"{name:16}{c['known']:>8,}{c['unknown']:>9,}{numbers}")
    lines.append("")
    lines += [n["text"] for n in document["notes"]] or ["Nothing was filled, dropped or doubted."]
    return "\n".join(lines)
