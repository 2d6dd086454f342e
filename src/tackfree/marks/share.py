"""A zone's edges, cracks, joints, drains and stalls shared out among its sections.

Geometry says how much of each lies in which section; the takeoff says how much there
is. So the shares always add up to the takeoff, also where a quantity was typed and
has no place on the drawing: then floor area decides.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import TypeVar

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from tackfree.deck.takeoff_types import CrackRun, JointRun, ZoneTakeoff
from tackfree.deck.types import Feature, FeatureKind, Section, Zone
from tackfree.marks.sweep import FloatArray
from tackfree.marks.types import SectionDetails

_ON_EDGE_M = 0.10  # a line this far outside still runs along the section's edge
_ON_CUT_M = 1e-3  # a line along a cut belongs to both sides

R = TypeVar("R", CrackRun, JointRun)


def share_details(
    taken: ZoneTakeoff, zone: Zone, features: Sequence[Feature], sections: Sequence[Section]
) -> list[SectionDetails]:
    """What of a zone's details each of its sections has, in the order of ``sections``.

    Where a section has other zones too, only this zone's part is given.
    """
    floors = [shapely.intersection(s.floor, taken.floor) for s in sections]
    area = np.array([f.area for f in floors])
    near = [f.buffer(_ON_EDGE_M) for f in floors]
    wide = [f.buffer(_ON_CUT_M) for f in floors]
    mine = zone.outline.buffer(_ON_EDGE_M)
    shapely.prepare(mine)
    here = [f for f in features if mine.intersects(f.geometry)]

    def lengths(kind: FeatureKind, where: Sequence[BaseGeometry], height: bool) -> FloatArray:
        return sum(
            (
                (f.height_m or 1.0 if height else 1.0) * f.count * _lengths(f.geometry, where)
                for f in here
                if f.kind is kind
            ),
            np.zeros(len(floors)),
        )

    def points(kind: FeatureKind) -> FloatArray:
        return sum(
            (f.count * _points(f.geometry, floors) for f in here if f.kind is kind),
            np.zeros(len(floors)),
        )

    upturn = shares(taken.upturn_m, lengths(FeatureKind.UPTURN, near, False), area)
    upturn_m2 = shares(taken.upturn_m2, lengths(FeatureKind.UPTURN, near, True), area)
    termination = shares(taken.termination_m, lengths(FeatureKind.TERMINATION, near, False), area)
    holes = zone.outline.difference(taken.floor).boundary
    edge = shares(taken.obstacle_edge_m, _lengths(holes, wide), area)
    drains = whole_shares(taken.drains, points(FeatureKind.DRAIN), area)
    pipes = whole_shares(taken.penetrations, points(FeatureKind.PENETRATION), area)
    cracks = _runs(
        taken.cracks, [f for f in here if f.kind is FeatureKind.CRACK], wide, area,
        lambda f, run: abs((f.width_m or 0.0) - run.width_m),
    )  # fmt: skip
    joints = _runs(
        taken.joints, [f for f in here if f.kind is FeatureKind.JOINT], wide, area,
        lambda f, run: abs((f.width_m or 0.0) - run.width_m)
        + abs((f.depth_m or 0.0) - run.depth_m),
    )  # fmt: skip
    return [
        SectionDetails(
            section_id=s.id,
            upturn_m=float(upturn[i]),
            upturn_m2=float(upturn_m2[i]),
            obstacle_edge_m=float(edge[i]),
            cracks=tuple(
                CrackRun(width_m=run.width_m, length_m=float(part[i]), rout=run.rout)
                for run, part in cracks
                if part[i] > 0
            ),
            joints=tuple(
                JointRun(width_m=run.width_m, depth_m=run.depth_m, length_m=float(part[i]))
                for run, part in joints
                if part[i] > 0
            ),
            termination_m=float(termination[i]),
            drains=drains[i],
            penetrations=pipes[i],
        )
        for i, s in enumerate(sections)
    ]


def share_stalls(
    taken: ZoneTakeoff, zone: Zone, features: Sequence[Feature], sections: Sequence[Section]
) -> list[int]:
    """Stalls of a zone in each of its sections: a stall is where its middle is.

    A row drawn as one outline with a count is shared by the floor it covers.
    """
    floors = [shapely.intersection(s.floor, taken.floor) for s in sections]
    found = np.zeros(len(floors))
    for f in features:
        if f.kind is not FeatureKind.STALL or not f.geometry.centroid.intersects(zone.outline):
            continue
        if f.count == 1:
            gaps = [floor.distance(f.geometry.centroid) for floor in floors]
            found[int(np.argmin(gaps))] += 1
        else:
            covered = np.array([floor.intersection(f.geometry).area for floor in floors])
            found += whole_shares(f.count, covered, np.ones(len(floors)))
    return whole_shares(taken.stalls, found, np.array([f.area for f in floors]))


def shares(total: float, weights: FloatArray, otherwise: FloatArray) -> FloatArray:
    """``total`` in proportion to ``weights``, or to ``otherwise`` where those are all 0."""
    use = weights if weights.sum() > 0 else otherwise
    out: FloatArray = total * use / use.sum()
    return out


def whole_shares(total: int, weights: FloatArray, otherwise: FloatArray) -> list[int]:
    """Like `shares` in whole numbers; the largest remainders are rounded up.

    >>> whole_shares(5, np.array([1.0, 1.0, 2.0]), np.ones(3))
    [1, 1, 3]
    """
    exact = shares(float(total), weights, otherwise)
    floor = np.floor(exact + 1e-9).astype(int)
    rest = np.round(exact - floor, 9)
    for i in np.argsort(-rest, kind="stable")[: total - int(floor.sum())]:
        floor[i] += 1
    return [int(v) for v in floor]


def _runs(
    runs: Iterable[R],
    features: Sequence[Feature],
    where: Sequence[BaseGeometry],
    area: FloatArray,
    far: Callable[[Feature, R], float],
) -> list[tuple[R, FloatArray]]:
    """Each run's length by section; a line counts for the run nearest to it in size."""
    all_runs = list(runs)
    weights = [np.zeros(len(where)) for _ in all_runs]
    for f in features:
        if all_runs:
            k = min(range(len(all_runs)), key=lambda k: (far(f, all_runs[k]), k))
            weights[k] = weights[k] + f.count * _lengths(f.geometry, where)
    return [(r, shares(r.length_m, w, area)) for r, w in zip(all_runs, weights, strict=True)]


def _lengths(line: BaseGeometry, where: Sequence[BaseGeometry]) -> FloatArray:
    out: FloatArray = np.asarray(shapely.length(shapely.intersection(line, list(where))))
    return out


def _points(point: BaseGeometry, floors: Sequence[BaseGeometry]) -> FloatArray:
    """1 for the section a point lies in or nearest to."""
    out = np.zeros(len(floors))
    out[int(np.argmin([f.distance(point) for f in floors]))] = 1.0
    return out
