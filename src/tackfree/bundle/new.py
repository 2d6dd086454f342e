"""Start a job: a small bundle that works, with comments that teach."""

from __future__ import annotations

import importlib.util
import json
import shutil
import tempfile
from datetime import date, datetime, time, timedelta
from importlib import resources
from importlib.resources.abc import Traversable
from pathlib import Path

from tackfree.bundle.checks import check
from tackfree.errors import InputError, Refused, ToolError

WEATHER = "723170TYA.CSV"  # typical year that ships inside the pvlib package


def new_job(
    folder: Path,
    *,
    job_id: str = "NEW-JOB",
    name: str = "New job",
    as_of: datetime | None = None,
    starts_on: date | None = None,
    latitude_deg: float = 36.10,
    longitude_deg: float = -79.95,
    altitude_m: float = 273.0,
    time_zone: str = "America/New_York",
    units: str = "us",
) -> Path:
    """Write a new bundle: one deck of one zone, invented product sheets, a build-up.

    Parameters
    ----------
    folder : Path
        Where; a folder that is not there yet, or is empty.
    as_of : datetime, optional
        The moment the job is looked at, as wall time of the job; left out, seven
        o'clock of this day.
    starts_on : date, optional
        First working day; left out, the Monday after the coming one.

    Returns
    -------
    Path
        The folder.

    Raises
    ------
    InputError
        If the folder holds anything already.
    Refused
        With the faults of what was given; nothing is written then.
    """
    _must_be_free(folder)
    as_of = as_of or datetime.combine(date.today(), time(7))
    first = starts_on or as_of.date() + timedelta(days=14 - as_of.weekday())
    filled = {
        "@ID@": _text(job_id),
        "@NAME@": _text(name),
        "@UNITS@": _text(units),
        "@AS_OF@": as_of.replace(microsecond=0).isoformat(),
        "@STARTS_ON@": first.isoformat(),
        "@LATITUDE@": repr(float(latitude_deg)),
        "@LONGITUDE@": repr(float(longitude_deg)),
        "@ALTITUDE@": f"{altitude_m:g}",
        "@TIME_ZONE@": _text(time_zone),
    }
    with tempfile.TemporaryDirectory(prefix="tackfree-new-") as temp:
        draft = Path(temp) / "job"
        _copy(resources.files("tackfree.assets") / "newjob", draft, filled)
        copy_typical_year(draft / "weather")
        faults = check(draft)
        if faults:
            raise Refused(faults)
        shutil.copytree(draft, folder, dirs_exist_ok=True)
    return folder


def copy_bundle(source: Path, folder: Path) -> Path:
    """Copy a bundle without its record, and give it its weather where that is missing.

    Raises
    ------
    InputError
        If the folder holds anything already.
    """
    _must_be_free(folder)
    shutil.copytree(
        source, folder, dirs_exist_ok=True, ignore=shutil.ignore_patterns(".*", "record.jsonl")
    )
    if not any((folder / "weather").glob("*")):
        copy_typical_year(folder / "weather")
    return folder


def _must_be_free(folder: Path) -> None:
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise InputError(
            "There is something already, and nothing is overwritten.",
            where=str(folder),
            do="Name a folder that is empty or not there yet.",
        )


def copy_typical_year(folder: Path) -> Path:
    """Copy the typical year out of the pvlib package into a weather folder.

    Raises
    ------
    ToolError
        If the package or its file is not there.
    """
    found = importlib.util.find_spec("pvlib")  # looked up, not imported: that takes a second
    places = list(found.submodule_search_locations or ()) if found else []
    source = next((p for p in (Path(p) / "data" / WEATHER for p in places) if p.is_file()), None)
    if source is None:
        raise ToolError(
            f"The weather file {WEATHER} is not where the pvlib package should have it.",
            where="weather",
            do="Install Tackfree with its dependencies again.",
        )
    target = folder / WEATHER
    folder.mkdir(parents=True, exist_ok=True)
    shutil.copyfile(source, target)
    return target


def _text(value: str) -> str:
    """A TOML text; control characters would end its line."""
    if not value.isprintable():
        raise InputError(
            f"{value!r} holds a character that cannot be printed.",
            where="job new",
            do="Write it on one line.",
        )
    return json.dumps(value, ensure_ascii=False)


def _copy(source: Traversable, target: Path, filled: dict[str, str]) -> None:
    target.mkdir(parents=True)
    for entry in source.iterdir():
        if entry.is_dir():
            _copy(entry, target / entry.name, filled)
            continue
        text = entry.read_text("utf-8")
        # One sign for each line: a name may itself hold signs, even @ID@.
        lines = [_fill(line, filled) for line in text.split("\n")]
        (target / entry.name).write_text("\n".join(lines), "utf-8", newline="\n")


def _fill(line: str, filled: dict[str, str]) -> str:
    for sign, value in filled.items():
        before, found, after = line.partition(sign)
        if found:
            return before + value + after
    return line
