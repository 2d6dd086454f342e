"""On what the rules stand that are told of a film, in words: whose numbers, which document."""

from __future__ import annotations

from tackfree.evidence.rules import FT2, SPOT_RULES, ContractRule, SpotRule
from tackfree.evidence.verdict import REACHED
from tackfree.units import System, show
from tackfree.words import say


def basis_of(
    rule: ContractRule, *, specified_um: float, system: System, language: str
) -> tuple[str, ...]:
    """A line for the contract's rule, the tolerance limit, and a named rule of spots.

    Parameters
    ----------
    rule : ContractRule
    specified_um : float
        Film over the peaks as specified. [µm]
    """
    whose = "specified" if rule.source.kind == "specification" else "usual"
    out = [
        say(f"film.basis_{whose}", language, floor_pct=round(100 * rule.floor),
            area=show(rule.m2_per_reading, "area", system, language=language)),
        say("film.basis_tolerance", language, reached_pct=round(100 * REACHED)),
    ]  # fmt: skip
    if rule.spots is not None:
        most_um = rule.most * specified_um
        out.append(_spots(SPOT_RULES[rule.spots], specified_um, most_um, system, language))
    return tuple(out)


def _spots(r: SpotRule, least_um: float, most_um: float, system: System, language: str) -> str:
    def area(ft2: float) -> str:
        return show(ft2 * FT2, "area", system, language=language)

    def film(um: float) -> str:
        return show(um, "film", system, language=language)

    which = say(f"film.basis_areas_{'every' if r.every_area else 'some'}", language,
                few=area(300), three=area(1000), more=area(1000))  # fmt: skip
    return say(
        "film.basis_spots", language, rule=r.id, area=area(100), spots=r.spots_per_area,
        readings=r.readings_per_spot, areas=which, low=film(r.spot_floor * least_um),
        high=film(r.spot_ceiling * most_um), floor_pct=round(100 * r.spot_floor),
        ceiling_pct=round(100 * r.spot_ceiling), least=film(least_um), most=film(most_um),
    )  # fmt: skip
