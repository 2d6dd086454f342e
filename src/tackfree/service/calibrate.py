"""``weather calibrate``: the slab of one exposure fitted to readings of the bare deck."""

from __future__ import annotations

import tomllib
from json import dumps
from pathlib import Path
from typing import Any

import numpy as np

from tackfree.bundle.documents.job import JobDoc
from tackfree.climate.calibrate import Fit, fit_slab
from tackfree.climate.sky import fill_sun
from tackfree.deck.types import Exposure
from tackfree.errors import InputError, NotFound
from tackfree.intake.weather import read_weather
from tackfree.intake.weather.logger import Mapping, readings
from tackfree.service.climate import slab_case
from tackfree.service.pipeline import Pipeline
from tackfree.service.save import write_atomic
from tackfree.units import K_PER_F
from tackfree.words import say


def fit(
    made: Pipeline,
    file: Path,
    exposure: str,
    mapping: Mapping | None,
    weather: Path | None = None,
) -> tuple[Exposure, Fit]:
    """Fit absorptance and wind factor to the surface readings of a file.

    Parameters
    ----------
    made : Pipeline
        The job, with measured weather over the readings.
    file : Path
        A table with a time and a column of surface temperature.
    exposure : str
        Where the readings were taken.
    mapping : Mapping, optional
        What its columns are, where the head does not say.
    weather : Path, optional
        Measured weather around the readings, where the job's own does not hold it.

    Raises
    ------
    NotFound
        If there is no such file or exposure.
    InputError
        If the weather is a typical year, the file has no surface column, or the
        readings are too few.
    """
    known = {e.value: e for e in Exposure}
    if exposure not in known:
        raise NotFound(
            f"there is no exposure {exposure!r}.", where="--exposure",
            do=f"Use one of {', '.join(known)}.",
        )  # fmt: skip
    if not file.is_file():
        raise NotFound("there is no such file.", where=file.name, do="Check its name.")
    place = made.job.place
    if weather is not None:
        series = read_weather(weather, "")
        series = fill_sun(
            series, latitude_deg=place.latitude_deg, longitude_deg=place.longitude_deg
        )
    elif made.job.weather.kind == "typical-year":
        raise InputError(
            "a typical year is not the weather of the readings.",
            where="job.toml, weather",
            do="Name measured weather of the days on which the deck was read: --weather FILE.",
        )
    else:
        series = made.weather
    samples, _, _ = readings(file.read_text("utf-8-sig"), mapping or Mapping())
    if "surface_c" not in samples.columns:
        raise InputError(
            "no column is known as the surface temperature.",
            where=file.name,
            do='Name it: columns = { surface_c = "Deck" } in the mapping.',
        )
    return known[exposure], fit_slab(
        series,
        slab_case(made.job, known[exposure]),
        utc_s=samples.utc_s.astype(np.float64),
        surface_c=samples.columns["surface_c"],
        latitude_deg=place.latitude_deg,
        longitude_deg=place.longitude_deg,
    )


def write(bundle: Path, exposure: Exposure, found: Fit, readings_file: str) -> Path:
    """Put a fit into the bundle's ``job.toml``, its other lines untouched.

    The slab of the same exposure is replaced; a thickness it holds stays. The file is
    replaced whole, and only by one that still reads.

    Raises
    ------
    InputError
        If the bundle is a zip.
    """
    path = bundle / "job.toml"
    if not path.is_file():
        raise InputError(
            "a fit is written only into a folder.", where=str(bundle), do="Unpack the bundle."
        )
    off = found.after_rms_k if found.held_out_rms_k is None else found.held_out_rms_k
    how = "on its own readings" if found.held_out_rms_k is None else "on the day left out"
    source = (
        f"{readings_file}: {found.readings} readings on {found.days} days, "
        f"{off / K_PER_F:.1f} °F ({off:.1f} K) off {how}"
    )
    text = with_slab(
        path.read_text("utf-8"), exposure.value, found.case.absorptance, found.case.wind_factor,
        source,
    )  # fmt: skip
    JobDoc.model_validate(tomllib.loads(text))
    write_atomic(path, text)
    return path


def with_slab(text: str, exposure: str, absorptance: float, wind_factor: float, source: str) -> str:
    """The text of a ``job.toml`` with one slab put in or replaced."""
    lines = text.rstrip("\n").split("\n")
    begins = [i for i, line in enumerate(lines) if line.strip().startswith("[")]
    kept: list[str] = []
    for k, first in enumerate(begins):
        stop = begins[k + 1] if k + 1 < len(begins) else len(lines)
        block = lines[first:stop]
        if block[0].strip() == "[[slabs]]" and _names(block, exposure):
            kept = [x for x in block if x.split("=")[0].strip() == "thickness"]
            lines[first:stop] = []
            break
    new = [
        "[[slabs]]",
        f"exposure = {dumps(exposure)}",
        f"absorptance = {absorptance:.3f}",
        f"wind_factor = {wind_factor:.3f}",
        *kept,
        f"source = {dumps(source, ensure_ascii=False)}",
    ]
    while lines and not lines[-1].strip():
        lines.pop()
    return "\n".join([*lines, "", *new]) + "\n"


def _names(block: list[str], exposure: str) -> bool:
    return bool(tomllib.loads("\n".join(block))["slabs"][0].get("exposure") == exposure)


def document(exposure: Exposure, found: Fit) -> dict[str, Any]:
    """A fit as rows for ``--json``."""
    return {
        "exposure": exposure,
        "absorptance": found.case.absorptance,
        "wind_factor": found.case.wind_factor,
        "readings": found.readings,
        "days": found.days,
        "before_rms_k": found.before_rms_k,
        "after_rms_k": found.after_rms_k,
        "held_out_rms_k": found.held_out_rms_k,
        "at_bound": list(found.at_bound),
    }


def text(exposure: Exposure, found: Fit, kept: str | None = None) -> str:
    """A fit for people."""

    def both(kelvin: float | None) -> str:
        return "-" if kelvin is None else f"{kelvin / K_PER_F:.1f} °F ({kelvin:.1f} K)"

    lines = [
        f"{exposure.value}: absorptance {found.case.absorptance:.2f}, "
        f"wind factor {found.case.wind_factor:.2f}",
        f"{found.readings} readings on {found.days} days; error before {both(found.before_rms_k)}, "
        f"after {both(found.after_rms_k)}, on the last day left out {both(found.held_out_rms_k)}",
        say("climate.fit.effective"),
    ]
    lines += [say("climate.fit.at_bound", name=n.replace("_", " ")) for n in found.at_bound]
    if kept is None:
        lines.append(say("climate.fit.not_written"))
    else:
        lines.append(say("climate.fit.written", file=kept, exposure=exposure.value))
    return "\n".join(lines)
