"""Sun from cloud where nobody measured it, and the sun a facade lets through."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tackfree.climate.sun import solar_azimuth_deg, solar_elevation_deg
from tackfree.climate.types import WeatherSeries
from tackfree.errors import InputError
from tackfree.words import Message, say

FloatArray = NDArray[np.float64]

SOLAR_CONSTANT_W_M2 = 1361.0
PARTS = 12  # moments an interval's sun is averaged over


def clear_sky_w_m2(elevation_deg: FloatArray) -> FloatArray:
    """Sun on the level under a cloudless sky.

    Parameters
    ----------
    elevation_deg : array
        Height of the sun. [°]

    Returns
    -------
    array
        [W/m²], 0 at night

    Source
    ------
    Published: Haurwitz, J. Meteor. 2 (1945) 154. Simple models like this one err
    by some 5 to 10 % under clear sky, more in haze and at altitude.
    """
    up = np.sin(np.radians(elevation_deg))
    with np.errstate(divide="ignore", over="ignore", under="ignore"):
        found = 1098.0 * up * np.exp(-0.059 / np.where(up > 0, up, 1.0))
    return np.where(up > 0, found, 0.0)


def through_cloud(cloud: FloatArray) -> FloatArray:
    """Share of the clear sky's sun that a cloud cover lets through.

    Source
    ------
    Published: Kasten and Czeplak, Solar Energy 24 (1980) 177: 1 - 0.75 N^3.4.
    """
    return np.asarray(1.0 - 0.75 * np.asarray(cloud, dtype=np.float64) ** 3.4)


def diffuse_share(clearness: FloatArray) -> FloatArray:
    """Diffuse part of the sun on the level, from its share of the sun above the air.

    Source
    ------
    Published: Erbs, Klein and Duffie, Solar Energy 28 (1982) 293.
    """
    k = np.asarray(clearness, dtype=np.float64)
    middle = 0.9511 - 0.1604 * k + 4.388 * k**2 - 16.638 * k**3 + 12.336 * k**4
    return np.where(k <= 0.22, 1.0 - 0.09 * k, np.where(k <= 0.8, middle, 0.165))


def moments_of(series: WeatherSeries) -> FloatArray:
    """Middles of PARTS equal parts of each interval, ``[interval, part]``. [Unix s]"""
    part = (np.arange(PARTS) + 0.5) / PARTS * series.step_s
    return np.asarray(
        series.start_utc_s + series.step_s * np.arange(len(series))[:, None] + part[None, :]
    )


def fill_sun(series: WeatherSeries, *, latitude_deg: float, longitude_deg: float) -> WeatherSeries:
    """A series whose unknown sun is built from its cloud, where cloud is known.

    Where the sun is known and only its parts are not, they are split. The count of
    built hours is said in the series' messages.

    Parameters
    ----------
    series : WeatherSeries
    latitude_deg, longitude_deg : float
        Place. [°]
    """
    height = solar_elevation_deg(
        moments_of(series), latitude_deg=latitude_deg, longitude_deg=longitude_deg
    )
    # Cloud is a state at interval ends; the interval has the mean of its two ends.
    cloud = series.cloud
    before = np.concatenate([cloud[:1], cloud[:-1]])
    cover = np.where(np.isfinite(before), (before + cloud) / 2, cloud)
    built = clear_sky_w_m2(height).mean(axis=1) * through_cloud(cover)
    night = height.max(axis=1) <= 0
    built = np.where(night, 0.0, built)
    lacking = ~np.isfinite(series.ghi_w_m2) & np.isfinite(built)
    ghi = np.where(lacking, built, series.ghi_w_m2)
    up = np.sin(np.radians(np.maximum(height, 0.0))).mean(axis=1)
    above = SOLAR_CONSTANT_W_M2 * up
    clearness = np.clip(ghi / np.maximum(above, 1.0), 0.0, 1.0)
    diffuse = np.where(
        np.isfinite(series.dhi_w_m2), series.dhi_w_m2, ghi * diffuse_share(clearness)
    )
    beam = np.where(up > 0.01, (ghi - diffuse) / np.maximum(up, 0.01), 0.0)
    beam = np.where(np.isfinite(series.dni_w_m2), series.dni_w_m2, beam.clip(0, 1100.0))
    messages = series.messages
    by_day = int((lacking & ~night).sum())
    if by_day:
        messages = tuple(m for m in messages if m.id != "weather.unknown.ghi_w_m2")
        messages = (*messages, Message(id="weather.sun_from_cloud", values={"count": by_day}))
        left = int((~np.isfinite(ghi)).sum())
        if left:
            messages = (*messages, Message(id="weather.unknown.ghi_w_m2", values={"count": left}))
    return replace(
        series,
        ghi_w_m2=ghi,
        dni_w_m2=beam,
        dhi_w_m2=diffuse,
        messages=messages,
        notes=tuple(say(m) for m in messages),
    )


@dataclass(frozen=True, kw_only=True)
class Opening:
    """What a balcony or a deck behind walls sees of the sky.

    ``faces_deg`` is the azimuth its open side looks to (south 180). The wall behind
    and a roof or the slab above hide the rest; ``roof_deg`` is the height above the
    horizon at which that slab begins (90: nothing above), ``rail_deg`` the height up to
    which a solid parapet hides the open side. ``horizon_deg`` holds heights of the
    skyline at equal azimuths from north, clockwise.
    """

    faces_deg: float | None = None
    roof_deg: float = 90.0
    rail_deg: float = 0.0
    horizon_deg: tuple[float, ...] = ()

    def __post_init__(self) -> None:
        if self.faces_deg is not None and not 0 <= self.faces_deg < 360:
            raise InputError(
                f"a facade looks to {self.faces_deg:g}°.", do="Give 0 to 360: east is 90."
            )
        if not 0 < self.roof_deg <= 90:
            raise InputError(
                f"the slab above begins at {self.roof_deg:g}°.", do="Give above 0, up to 90."
            )
        if not 0 <= self.rail_deg < self.roof_deg:
            raise InputError(
                f"the parapet reaches {self.rail_deg:g}°, the slab above {self.roof_deg:g}°.",
                do="Give the parapet from 0 to below the slab above.",
            )

    def sees(self, azimuth_deg: FloatArray, elevation_deg: FloatArray) -> NDArray[np.bool_]:
        """Directions from which the surface's middle is reached."""
        azimuth = np.asarray(azimuth_deg, dtype=np.float64) % 360
        open_ = np.asarray(elevation_deg > 0)
        if self.horizon_deg:
            ring = np.append(np.array(self.horizon_deg), self.horizon_deg[0])
            at = np.interp(azimuth, np.linspace(0, 360, len(ring)), ring)
            open_ = open_ & (elevation_deg > at)
        if self.faces_deg is not None:
            off = np.abs((azimuth - self.faces_deg + 180) % 360 - 180)
            # Both edges fall away toward the sides: tan h = tan(middle) · cos off.
            aside = np.cos(np.radians(off))
            edge = np.degrees(np.arctan(np.tan(np.radians(self.roof_deg)) * aside))
            rail = np.degrees(np.arctan(np.tan(np.radians(self.rail_deg)) * aside))
            open_ = open_ & (off < 90) & (elevation_deg < edge) & (elevation_deg >= rail)
        return open_

    def sky_view(self) -> float:
        """Share of a level surface's sky that is open, weighted as it shines on it."""
        heights = (np.arange(90) + 0.5)[:, None]
        round_ = (np.arange(180) * 2.0 + 1.0)[None, :]
        weight = np.sin(np.radians(heights)) * np.cos(np.radians(heights)) + 0 * round_
        seen = self.sees(np.broadcast_to(round_, weight.shape),
                         np.broadcast_to(heights, weight.shape))  # fmt: skip
        return float((weight * seen).sum() / weight.sum())


def shaded(
    series: WeatherSeries, opening: Opening, *, latitude_deg: float, longitude_deg: float
) -> WeatherSeries:
    """The series with the sun on the level as this opening lets it through.

    Beam where the sun stands in the opening, diffuse by its share of the sky; what
    facade and slab reflect is left out. Its slab case takes ``sun_factor`` 1 and
    the opening's ``sky_view``.

    Raises
    ------
    InputError
        If the series lacks beam and diffuse sun; :func:`fill_sun` adds them.
    """
    if not np.isfinite(series.dni_w_m2).any():
        raise InputError("the weather has no beam and diffuse sun.", do="Fill the sun first.")
    when = moments_of(series)
    where = {"latitude_deg": latitude_deg, "longitude_deg": longitude_deg}
    height = solar_elevation_deg(when, **where)
    seen = opening.sees(solar_azimuth_deg(when, **where), height)
    up = np.where(height > 0, np.sin(np.radians(height)), 0.0)
    beam = (up * seen).mean(axis=1) * series.dni_w_m2
    return replace(series, ghi_w_m2=beam + opening.sky_view() * series.dhi_w_m2)
