"""Volume, loss and whole kits: the one place where film and litres meet.

Loss is a fraction of the **net** need: 8 % loss on 100 L net is 108 L mixed. Orders go
from film to volume, the mass balance from volume to film; both pass through
:func:`laid_share`, so that they cannot disagree about what loss means.

Source
------
Exact arithmetic; which convention of loss is meant is ours and written on every sheet
(the other one, gross-up, would turn 10 % into 111.1 L for 100 L).
"""

from __future__ import annotations

import math
from typing import Any

from tackfree.film.checks import FloatArray, X, above_zero, back, not_below_zero
from tackfree.units import UM_PER_L_PER_M2

SLACK_KITS = 1e-9  # arithmetic dust that must not buy a kit
_DO_LOSS = "For 8 % give 0.08."
_DO_FILM = "Enter the film from the specification or the product data sheet."
_DO_AREA = "Check the area that was measured."
_DO_KIT = "Enter the mixed volume of one kit from the product data sheet."


def laid_share(loss: float) -> float:
    """Share of a mixed volume that ends up on the deck.

    The rest, the residue r = loss / (1 + loss), stays in pails, rollers and overspread.

    Parameters
    ----------
    loss : float
        Loss on net need. [fraction], 0 or more

    Returns
    -------
    float
        1 / (1 + loss) = 1 - r. [fraction]

    Raises
    ------
    FilmError
        If loss is negative or not finite.

    Source
    ------
    Exact.

    Examples
    --------
    >>> laid_share(0.25)
    0.8
    """
    return 1 / (1 + float(not_below_zero(loss, "loss", "", _DO_LOSS)))


def net_l(*, area_m2: X, wft_um: X | float, fill_um: X | float = 0.0) -> X:
    """Volume that must lie on the deck: film over the peaks and what the texture takes.

    Parameters
    ----------
    area_m2 : float or array of any shape
        Developed area. [m²], 0 or more
    wft_um : float or array that broadcasts with the area
        Wet film over the peaks. [µm], 0 or more
    fill_um : float or array that broadcasts with the area
        Texture fill of the surface **under this coat**. [µm], 0 or more

    Returns
    -------
    float or array
        Net volume, without loss. [L]

    Raises
    ------
    FilmError
        If a value is negative or not finite.

    Source
    ------
    Exact, from 1 L/m² = 1000 µm.

    Examples
    --------
    >>> net_l(area_m2=100.0, wft_um=600.0, fill_um=100.0)
    70.0
    """
    area = not_below_zero(area_m2, "area", "m²", _DO_AREA)
    return back(area * _depth_um(wft_um, fill_um) / UM_PER_L_PER_M2, area_m2)


def gross_l(*, area_m2: X, wft_um: X | float, fill_um: X | float = 0.0, loss: float = 0.0) -> X:
    """Volume to mix: net need and the loss on it.

    Parameters
    ----------
    area_m2, wft_um, fill_um : float or array
        As in :func:`net_l`.
    loss : float
        Loss on net need. [fraction], 0 or more

    Returns
    -------
    float or array
        Gross volume. [L]

    Raises
    ------
    FilmError
        If a value is negative or not finite.

    Source
    ------
    Exact, V = A (w + f) (1 + loss).

    Examples
    --------
    >>> round(gross_l(area_m2=100.0, wft_um=600.0, fill_um=100.0, loss=0.08), 6)
    75.6
    """
    return net_l(area_m2=area_m2, wft_um=wft_um, fill_um=fill_um) / laid_share(loss)


def film_over_peaks_um(
    *, volume_l: X, area_m2: X | float, fill_um: X | float = 0.0, loss: float = 0.0
) -> X:
    """Mean film over the peaks that a mixed volume can have left on an area.

    The inverse of :func:`gross_l`, for the mass balance. A negative answer means that
    the volume did not even fill the texture.

    Parameters
    ----------
    volume_l : float or array of any shape
        Volume mixed and used. [L], 0 or more
    area_m2 : float or array that broadcasts with it
        Developed area it went on. [m²], above 0
    fill_um, loss
        As in :func:`gross_l`.

    Returns
    -------
    float or array
        Mean wet film over the peaks. [µm]

    Raises
    ------
    FilmError
        If a value is out of its range or not finite.

    Source
    ------
    Exact, w = V / (A (1 + loss)) - f.

    Examples
    --------
    >>> round(film_over_peaks_um(volume_l=75.6, area_m2=100.0, fill_um=100.0, loss=0.08), 6)
    600.0
    """
    volume = not_below_zero(volume_l, "volume", "L", "Count the kits again.")
    area = above_zero(area_m2, "area", "m²", _DO_AREA)
    fill = not_below_zero(fill_um, "texture fill", "µm", "Enter a measured depth, or 0.")
    return back(volume * laid_share(loss) / area * UM_PER_L_PER_M2 - fill, volume_l)


def kits_needed(gross_l: float, kit_l: float) -> int:
    """Whole kits for a volume: ceil(x - 1e-9). Also whole bags and packages.

    Parameters
    ----------
    gross_l : float
        Volume to mix. [L], 0 or more (or kg with a bag in kg)
    kit_l : float
        Mixed volume of one kit. [L], above 0

    Returns
    -------
    int
        Kits; 0 for a volume of 0.

    Raises
    ------
    FilmError
        If a value is out of its range or not finite.

    Source
    ------
    Exact. A two-part kit is mixed whole: practice.

    Examples
    --------
    >>> kits_needed(100.0, 20.0), kits_needed(100.1, 20.0)
    (5, 6)
    """
    volume = float(not_below_zero(gross_l, "volume", "L", "Check area, film and loss."))
    kit = float(above_zero(kit_l, "kit", "L", _DO_KIT))
    return max(0, math.ceil(volume / kit - SLACK_KITS))


def leftover_l(gross_l: float, kit_l: float) -> float:
    """What the last kit holds beyond the need. [L]

    >>> leftover_l(90.0, 20.0)
    10.0
    """
    return max(0.0, kits_needed(gross_l, kit_l) * kit_l - gross_l)


def reach_m2(*, kit_l: X, wft_um: X | float, fill_um: X | float = 0.0, loss: float = 0.0) -> X:
    """Area one kit must cover so that the film is there.

    Parameters
    ----------
    kit_l : float or array of any shape
        Mixed volume, of a kit or of several. [L], above 0
    wft_um, fill_um, loss
        As in :func:`gross_l`; film and fill together above 0.

    Returns
    -------
    float or array
        Area. [m²]

    Raises
    ------
    FilmError
        If a value is out of its range, or film and fill are both 0.

    Source
    ------
    Exact, A = V / ((w + f) (1 + loss)).

    Examples
    --------
    >>> round(reach_m2(kit_l=20.0, wft_um=600.0, fill_um=200.0, loss=0.25), 6)
    20.0
    """
    kit = above_zero(kit_l, "kit", "L", _DO_KIT)
    depth = above_zero(_depth_um(wft_um, fill_um), "film with its fill", "µm", _DO_FILM)
    return back(kit * laid_share(loss) / depth * UM_PER_L_PER_M2, kit_l)


def _depth_um(wft_um: Any, fill_um: Any) -> FloatArray:
    film = not_below_zero(wft_um, "wet film", "µm", _DO_FILM)
    fill = not_below_zero(fill_um, "texture fill", "µm", "Enter a measured depth, or 0.")
    return film + fill
