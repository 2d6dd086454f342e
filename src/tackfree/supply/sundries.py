"""What wears out and is thrown away: blades, covers, spikes, paddles, gloves."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from tackfree.because import Figure, Given, Source
from tackfree.film.volume import kits_needed
from tackfree.units import M2_PER_FT2

_WEAR = Source(kind="practice", text="wear of tools, editable")
Per = Literal["area", "kits", "person-days", "people"]


@dataclass(frozen=True, kw_only=True)
class Wear:
    """One piece for so much work.

    ``one_for`` is m², kits, person-days or people; ``roles`` narrows an area or kits to
    coats of these roles (none: all). ``name`` is "" where the words have one.
    """

    id: str
    per: Per
    one_for: float
    roles: tuple[str, ...] = ()
    name: str = ""
    source: Source = _WEAR


@dataclass(frozen=True, kw_only=True)
class SundryLine:
    """How many pieces of one kind a job takes."""

    id: str
    name: str
    count: int
    figure: Figure


_SKIN = Source(kind="practice", text="editable; the safety data sheet and the site decide")
# practice: a notched blade holds its height for 5,000 to 10,000 ft² of rough concrete, a
# cover for 1,500 to 3,000 ft² a hand; protective gear by person and day
DEFAULTS: tuple[Wear, ...] = (
    Wear(id="BLADE", per="area", one_for=7500 * M2_PER_FT2, roles=("base", "intermediate")),
    Wear(id="COVER", per="area", one_for=1000 * M2_PER_FT2),
    Wear(id="SPIKES", per="people", one_for=1.0),
    Wear(id="PADDLE", per="kits", one_for=100.0),
    Wear(id="GLOVES", per="person-days", one_for=0.25, source=_SKIN),
    Wear(id="COVERALL", per="person-days", one_for=1.0, source=_SKIN),
    Wear(id="CARTRIDGE", per="person-days", one_for=2.5, source=_SKIN),
)


def wear_table(own: Sequence[Wear]) -> tuple[Wear, ...]:
    """Our rows with those of a job in their place; new ones follow."""
    mine = {w.id: w for w in own}
    ours = {w.id for w in DEFAULTS}
    return (*(mine.get(w.id, w) for w in DEFAULTS), *(w for w in own if w.id not in ours))


def sundry_lines(
    table: Sequence[Wear],
    *,
    area_m2: Mapping[str, float],
    kits: Mapping[str, float],
    person_days: float,
    people: float,
) -> tuple[SundryLine, ...]:
    """Pieces of every kind.

    Parameters
    ----------
    table : sequence of Wear
    area_m2, kits : mapping by role of coat
        What is coated and mixed.
    person_days, people : float
        Days of work of all people, and how many they are.

    Returns
    -------
    tuple of SundryLine
        Only what is needed, in the order of the table.

    Source
    ------
    Quantity / what one piece lasts, rounded up. The lasts are practice.
    """
    out = []
    for wear in table:
        by_role = {"area": area_m2, "kits": kits}.get(wear.per)
        if by_role is not None:
            used = sum(v for role, v in by_role.items() if not wear.roles or role in wear.roles)
        else:
            used = person_days if wear.per == "person-days" else people
        count = kits_needed(used, wear.one_for)
        if count:
            unit = "m²" if wear.per == "area" else wear.per
            figure = Figure(
                value=count,
                unit="pieces",
                formula="used / what one lasts, rounded up",
                inputs=(
                    Given(name="used", value=used, unit=unit),
                    Given(name="one lasts", value=wear.one_for, unit=unit, source=wear.source),
                ),
                source=wear.source,
            )
            out.append(SundryLine(id=wear.id, name=wear.name, count=count, figure=figure))
    return tuple(out)
