"""Longitude and latitude to a plane of metres about one place.

Good for one site: over a kilometre the areas agree with an equal-area projection to
about a part in ten thousand.
"""

from __future__ import annotations

import math

import shapely
from shapely.geometry.base import BaseGeometry

from tackfree.errors import InputError

AXIS_M = 6_378_137.0  # WGS 84, semi-major axis; published: NIMA TR8350.2
FLATTENING = 1 / 298.257223563  # published: as above
SMALLEST = 0.5  # anything smaller is no deck in metres, and a site in degrees


def in_degrees(shape: BaseGeometry, *, file: str) -> bool:
    """Whether coordinates are degrees rather than a plane's metres or feet.

    Raises
    ------
    InputError
        If longitude and latitude are swapped.
    """
    low_x, low_y, high_x, high_y = shape.bounds
    across = max(high_x - low_x, high_y - low_y)
    if across >= SMALLEST:
        return False
    if max(abs(low_y), abs(high_y)) > 90 and max(abs(low_x), abs(high_x)) <= 90:
        raise InputError(
            f"the second coordinate is {high_y:g}, which is no latitude; the two look swapped.",
            where=file,
            do="Write longitude first, then latitude.",
        )
    return max(abs(low_y), abs(high_y)) <= 90 and max(abs(low_x), abs(high_x)) <= 180


def to_plane(shape: BaseGeometry, about: tuple[float, float]) -> BaseGeometry:
    """A shape in degrees as metres east and north of a place.

    Parameters
    ----------
    shape : geometry
        Longitude, latitude. [degrees, WGS 84]
    about : (float, float)
        Longitude and latitude of the origin. [degrees]

    Source
    ------
    published: radii of curvature of the ellipsoid, any geodesy text:
    x = Δλ N cos φ, y = Δφ M.
    """
    lon, lat = about
    e2 = FLATTENING * (2 - FLATTENING)
    sine = math.sin(math.radians(lat))
    w2 = 1 - e2 * sine * sine
    n = AXIS_M / math.sqrt(w2)
    m = AXIS_M * (1 - e2) / w2**1.5
    east = math.radians(1) * n * math.cos(math.radians(lat))
    north = math.radians(1) * m
    moved: BaseGeometry = shapely.transform(shape, lambda xy: (xy - (lon, lat)) * (east, north))
    return moved


def centre_of(shape: BaseGeometry) -> tuple[float, float]:
    """The middle of a shape's bounds."""
    low_x, low_y, high_x, high_y = shape.bounds
    return ((low_x + high_x) / 2, (low_y + high_y) / 2)
