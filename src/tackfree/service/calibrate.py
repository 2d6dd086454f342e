"""``weather calibrate``: the slab of one exposure fitted to readings of the bare deck."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from tackfree.climate.calibrate import Fit, fit_slab
from tackfree.climate.slab import SlabCase
from tackfree.deck.types import Exposure
from tackfree.errors import InputError, NotFound
from tackfree.intake.weather.logger import Mapping, readings
from tackfree.service.pipeline import Pipeline
from tackfree.units import K_PER_F
from tackfree.words import say


def fit(made: Pipeline, file: Path, exposure: str, mapping: Mapping | None) -> tuple[Exposure, Fit]:
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
    if made.job.weather.kind == "typical-year":
        raise InputError(
            "a typical year is not the weather of the readings.",
            where="job.toml, weather",
            do="Give measured weather of the days on which the deck was read.",
        )
    samples, _, _ = readings(file.read_text("utf-8-sig"), mapping or Mapping())
    if "surface_c" not in samples.columns:
        raise InputError(
            "no column is known as the surface temperature.",
            where=file.name,
            do='Name it: columns = { surface_c = "Deck" } in the mapping.',
        )
    place = made.job.place
    return known[exposure], fit_slab(
        made.weather,
        SlabCase.of(known[exposure]),
        utc_s=samples.utc_s.astype(np.float64),
        surface_c=samples.columns["surface_c"],
        latitude_deg=place.latitude_deg,
        longitude_deg=place.longitude_deg,
    )


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


def text(exposure: Exposure, found: Fit) -> str:
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
    return "\n".join(lines)
