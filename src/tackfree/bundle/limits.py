"""Which limit holds: the specification's, the sheet's, or a default of ours."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields

from tackfree.buildup.types import Limits
from tackfree.bundle.types import Job
from tackfree.units import K_PER_F, c_from_f

# practice: 40 to 90 °F slab and air, slab 5 °F over the dew point, 85 % relative
# humidity, 8 h without rain. There is no default for wind.
DEFAULTS = Limits(
    surface_min_c=c_from_f(40),
    surface_max_c=c_from_f(90),
    air_min_c=c_from_f(40),
    air_max_c=c_from_f(90),
    spread_min_k=5 * K_PER_F,
    rh_max=0.85,
    rain_free_h=8.0,
)
TEMPERATURES = ("surface_min_c", "surface_max_c", "air_min_c", "air_max_c")
UPPER = ("surface_max_c", "air_max_c", "rh_max", "wind_max_m_s")  # the lower one is stricter


def combine(spec: Limits, sheet: Limits) -> tuple[Limits, dict[str, str]]:
    """The limits that hold, and where each comes from.

    All of them are safety limits, so where specification and sheet both speak the
    stricter holds. A default steps in only where neither speaks; for temperatures,
    only where neither gives any. A limit given nowhere stays None and is not in the
    mapping.

    Parameters
    ----------
    spec, sheet : Limits
        What the contract and the product sheet state.

    Returns
    -------
    (Limits, dict)
        Limits, and field name -> "specification", "sheet" or "default".
    """
    given: dict[str, float] = {}
    origin: dict[str, str] = {}
    stated = any(getattr(one, name) is not None for one in (spec, sheet) for name in TEMPERATURES)
    for name in (f.name for f in fields(Limits)):
        ours, theirs = getattr(spec, name), getattr(sheet, name)
        if ours is not None and theirs is not None:
            stricter = min(ours, theirs) if name in UPPER else max(ours, theirs)
            given[name] = stricter
            origin[name] = "specification" if stricter == ours else "sheet"
        elif ours is not None or theirs is not None:
            given[name] = ours if ours is not None else theirs
            origin[name] = "specification" if ours is not None else "sheet"
        elif getattr(DEFAULTS, name) is not None and not (stated and name in TEMPERATURES):
            given[name] = getattr(DEFAULTS, name)
            origin[name] = "default"
    return Limits(**given), origin


def limits_for(job: Job, product_id: str) -> tuple[Limits, Mapping[str, str]]:
    """The limits that hold for a product of a job; see :func:`combine`.

    Raises
    ------
    KeyError
        If the job has no such product.
    """
    return combine(job.spec.limits, job.products[product_id].limits)
