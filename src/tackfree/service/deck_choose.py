"""Which layers of a drawing become zones: as a person named them, or what to name."""

from __future__ import annotations

import re
import shlex
from collections.abc import Sequence
from dataclasses import dataclass

from tackfree.bundle.read import Documents
from tackfree.errors import Fault, Refused
from tackfree.intake.report import DrawingReport, LayerReport
from tackfree.service.drawing import TRACE
from tackfree.units import System, show

_CHOICE = re.compile(
    r"^(?P<layer>.+?)(?:@(?P<x>-?[\d.]+),(?P<y>-?[\d.]+))?"
    r"=(?P<build_up>[A-Z0-9-]+)(?::(?P<duty>[a-z-]+))?$"
)
MOST_LISTED = 12  # layers named in a refusal


@dataclass(frozen=True, kw_only=True)
class Choice:
    """A layer that becomes a zone. ``at`` picks one outline of it. [drawing units]"""

    layer: LayerReport
    build_up: str
    duty: str
    at: tuple[float, float] | None


def chosen_layers(report: DrawingReport, docs: Documents, layers: Sequence[str]) -> list[Choice]:
    """The layers as named, with build-up and duty.

    Raises
    ------
    Refused
        With every fault of what was named; where nothing was, with what to name.
    """
    duties = _duties(docs)
    if not layers:
        raise Refused([_propose(report, duties, units_of(docs))])
    out: list[Choice] = []
    faults: list[Fault] = []
    for text in layers:
        found = _CHOICE.match(text)
        if not found:
            faults.append(_misread(text))
            continue
        layer = _layer(report, found["layer"])
        known = duties.get(found["build_up"])
        if layer is None:
            faults.append(
                Fault(
                    where=f"--layer {text}",
                    what=f"there is no layer {found['layer']}.",
                    do=f"Name one of {_listed(report)}.",
                )
            )
        if known is None:
            faults.append(
                Fault(
                    where=f"--layer {text}",
                    what=f"the job has no build-up {found['build_up']}.",
                    do=f"Name one of {', '.join(duties) or 'buildups.toml, which has none'}.",
                )
            )
        elif found["duty"] is None and len(known) != 1:
            faults.append(
                Fault(
                    where=f"--layer {text}",
                    what=f"{found['build_up']} is for several duties.",
                    do=f"Write the duty behind it: {' or '.join(f':{d}' for d in known)}.",
                )
            )
        elif layer is not None:
            at = None if found["x"] is None else (float(found["x"]), float(found["y"]))
            duty = found["duty"] or known[0]
            out.append(Choice(layer=layer, build_up=found["build_up"], duty=duty, at=at))
    if faults:
        raise Refused(faults)
    return out


def _misread(text: str) -> Fault:
    return Fault(
        where="--layer",
        what=f"{text!r} names no layer with its build-up.",
        do='Write "LAYER=BUILD-UP:duty", or "LAYER@x,y=BUILD-UP:duty" for the outline around '
        "a point.",
    )


def _duties(docs: Documents) -> dict[str, list[str]]:
    read_ = docs.found.get("buildups.toml")
    rows = read_.raw.get("build_ups", []) if read_ else []
    return {str(b["id"]): [str(d) for d in b.get("duties", [])] for b in rows if "id" in b}


def _layer(report: DrawingReport, wanted: str) -> LayerReport | None:
    """A layer by its name, in any case, or by the name it had before it was bound."""
    small = wanted.lower()
    for found in (
        [x for x in report.layers if x.name == wanted],
        [x for x in report.layers if x.name.lower() == small],
        [x for x in report.layers if x.name.rsplit("$0$", 1)[-1].lower() == small],
    ):
        if len(found) == 1:
            return found[0]
    return None


def _enclosing(report: DrawingReport) -> list[LayerReport]:
    """Layers that enclose anything; first the one whose largest outline is largest."""
    rows = [x for x in report.layers if x.largest_faces]
    return sorted(rows, key=lambda x: (-x.largest_faces[0], x.name))


def _listed(report: DrawingReport) -> str:
    rows = [x.name for x in _enclosing(report)] or [x.name for x in report.layers]
    more = len(rows) - MOST_LISTED
    return ", ".join(rows[:MOST_LISTED]) + (f" and {more} more" if more > 0 else "")


def _propose(report: DrawingReport, duties: dict[str, list[str]], system: System) -> Fault:
    rows = _enclosing(report)
    if not rows:
        return Fault(where=report.file, what="no layer of it encloses anything.", do=TRACE)
    first, factor = rows[0], (report.unit_m or 1.0) ** 2
    build_up = next(iter(duties), "BUILD-UP")
    duty = (duties.get(build_up) or ["duty"])[0]
    areas = "; ".join(
        f"{x.name} {show(x.face_area * factor, 'area', system)}" for x in rows[:MOST_LISTED]
    )
    return Fault(
        where=report.file,
        what=f"no layer was named. The largest outline is on {first.name}. They enclose: {areas}.",
        do="Name the zones, each with its build-up: --layer "
        + shlex.quote(f"{first.name}={build_up}:{duty}"),
    )


def units_of(docs: Documents) -> System:
    """The units in which the job's people read."""
    job = docs.found.get("job.toml")
    return "si" if job and job.raw.get("units") == "si" else "us"


def zone_ids(deck_id: str, chosen: Sequence[Choice]) -> list[str]:
    """An id for each zone, from the deck's and its layer's name."""
    out: list[str] = []
    for n, choice in enumerate(chosen, 1):
        plain = choice.layer.name.rsplit("$0$", 1)[-1].upper()
        slug = re.sub(r"[^A-Z0-9]+", "-", plain).strip("-")[:24].strip("-") or str(n)
        ident = f"{deck_id}-{slug}"
        out.append(ident if ident not in out else f"{ident}-{n}")
    return out
