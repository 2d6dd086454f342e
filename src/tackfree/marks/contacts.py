"""Which outlines touch, and along how long an edge."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

_NEAR_M = 2e-5


def contacts(
    shapes: Sequence[BaseGeometry], barriers: BaseGeometry | None = None
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.object_]]:
    """Pairs i < j that share an edge, with that edge.

    ``barriers`` is an area that edges are taken out of (lines nobody steps over).
    """
    array = np.array(shapes, dtype=object)
    near = shapely.buffer(array, _NEAR_M, join_style="mitre", quad_segs=1)
    i, j = shapely.STRtree(array).query(near, predicate=None)
    keep = i < j
    i, j = i[keep], j[keep]
    edge = shapely.intersection(shapely.boundary(array[i]), near[j])
    if barriers is not None:
        edge = shapely.difference(edge, barriers)
    keep = shapely.length(edge) > 10 * _NEAR_M
    return i[keep], j[keep], edge[keep]


def longest_run(edges: NDArray[np.object_]) -> NDArray[np.float64]:
    """Length of the longest unbroken stretch of each edge. [m]"""
    merged = shapely.line_merge(edges)
    parts, owner = shapely.get_parts(merged, return_index=True)
    out = np.zeros(len(edges))
    np.maximum.at(out, owner, shapely.length(parts))
    return out


def touching(
    shapes: Sequence[BaseGeometry], barriers: BaseGeometry | None = None
) -> dict[int, dict[int, float]]:
    """For each shape its neighbours, with the longest run of the edge they share. [m]"""
    out: dict[int, dict[int, float]] = {k: {} for k in range(len(shapes))}
    i, j, edges = contacts(shapes, barriers)
    for a, b, run in zip(i.tolist(), j.tolist(), longest_run(edges).tolist(), strict=True):
        out[a][b] = out[b][a] = run
    return out
