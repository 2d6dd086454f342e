"""Weather files in: one series, in SI and UTC, with its doubts."""

from __future__ import annotations

import gzip
from pathlib import Path

from tackfree.climate.types import WeatherSeries
from tackfree.errors import InputError, NotFound
from tackfree.intake.weather.epw import parse_epw
from tackfree.intake.weather.tmy3 import parse_tmy3

READERS = {"epw": parse_epw, "tmy3": parse_tmy3}


def read_weather(path: Path, format: str = "") -> WeatherSeries:
    """A weather file as one series.

    Parameters
    ----------
    path : Path
        The file; ``.gz`` is opened too.
    format : str
        ``epw`` or ``tmy3``; empty is guessed from the name (``.epw``, else TMY3).

    Returns
    -------
    WeatherSeries
        Hourly, in file order, from the first row's own date. A typical year is put
        on real dates by ``climate.typical.lay_typical``.

    Raises
    ------
    NotFound
        If there is no such file.
    InputError
        If the format is unknown or the file is not what it should be.
    """
    if not path.is_file():
        raise NotFound(
            "there is no such weather file.", where=path.name, do="Check the name in job.toml."
        )
    names = path.name.lower().removesuffix(".gz")
    kind = format or ("epw" if names.endswith(".epw") else "tmy3")
    if kind not in READERS:
        raise InputError(
            f"weather format {kind!r} is not read.",
            where=path.name,
            do=f"Use one of: {', '.join(sorted(READERS))}.",
        )
    raw = path.read_bytes()
    if raw[:2] == b"\x1f\x8b":
        raw = gzip.decompress(raw)
    try:
        return READERS[kind](raw.decode("latin-1"), path.name)
    except InputError as fault:
        if fault.where:
            raise
        raise InputError(fault.what, where=path.name, do=fault.do) from fault
    except (ValueError, IndexError) as fault:
        raise InputError(
            f"a field is not the number it should be ({fault}).",
            where=path.name,
            do="Use the file as it was published.",
        ) from fault
