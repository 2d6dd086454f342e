"""Pictures of a deck: their size, without unpacking them."""

from __future__ import annotations

import warnings
from pathlib import Path

from PIL import Image, UnidentifiedImageError

from tackfree.errors import InputError, NotFound

MOST_PIXELS = 20_000  # along one side


def picture_size(path: Path) -> tuple[int, int]:
    """Width and height of a picture. [px]

    Only its header is read, so that a small file that unpacks to gigabytes costs nothing.

    Raises
    ------
    NotFound, InputError
        If there is no such file, it is no picture, or a side is over 20,000 px.
    """
    if not path.is_file():
        raise NotFound(
            "there is no such picture.",
            where=path.name,
            do="Put it into the decks folder of the job, or correct its name.",
        )
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            with Image.open(path) as picture:
                wide, high = picture.size
    except (UnidentifiedImageError, OSError, ValueError, Image.DecompressionBombError) as fault:
        raise InputError(
            "this is no picture that can be read, or it is far too large.",
            where=path.name,
            do="Save it as PNG or JPEG, at most 20,000 pixels along a side.",
        ) from fault
    if max(wide, high) > MOST_PIXELS:
        raise InputError(
            f"the picture is {wide} × {high} pixels; at most {MOST_PIXELS} a side are taken.",
            where=path.name,
            do="Scan it at a lower resolution, 200 dots per inch are plenty.",
        )
    return wide, high
