"""Photos by the hash of their bytes: looked into, kept as they are, shown upright and small."""

from __future__ import annotations

import hashlib
import io
import math
import os
import re
import tempfile
import threading
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from PIL import ExifTags, Image, ImageOps, UnidentifiedImageError

from tackfree.errors import InputError, NotFound

LARGEST_BYTES = 25_000_000
LARGEST_PIXELS = 64_000_000
SMALL_PX = 640
KINDS = {"JPEG": "jpg", "PNG": "png", "WEBP": "webp"}
MEDIA = {"jpg": "image/jpeg", "png": "image/png", "webp": "image/webp"}
HASH = re.compile(r"^[0-9a-f]{64}$")
_one = threading.Lock()  # one picture in memory at a time


@dataclass(frozen=True, kw_only=True)
class About:
    """What a picture says of itself; its clock and place are the camera's word.

    ``taken`` has an offset from UTC only where the camera wrote one.
    """

    sha256: str
    media: str
    size_bytes: int
    width_px: int
    height_px: int
    taken: str | None = None
    latitude_deg: float | None = None
    longitude_deg: float | None = None


@dataclass(frozen=True, kw_only=True)
class Photos:
    """A folder of pictures, and one of their small copies, which can be made again."""

    folder: Path
    small: Path

    @classmethod
    def of(cls, bundle: Path) -> Photos:
        return cls(folder=bundle / "photos", small=bundle / ".tackfree" / "small")

    def path(self, sha: str) -> Path | None:
        """The file of a picture, if it is here."""
        if not HASH.match(sha):
            return None
        for ending in MEDIA:
            found = self.folder / f"{sha}.{ending}"
            if found.is_file():
                return found
        return None

    def keep(self, sha: str, data: bytes) -> bool:
        """Keep a picture for good; False if it was here. On the disk before it answers.

        Raises
        ------
        InputError
            If the bytes have another hash, or are no picture that can be shown safely.
        """
        if not HASH.match(sha):
            raise _no_photo(sha)
        if len(data) > LARGEST_BYTES:
            raise InputError(
                f"the picture has {len(data) / 1e6:.0f} MB; {LARGEST_BYTES / 1e6:.0f} are allowed.",
                where="photo",
                do="Take it with fewer pixels.",
            )
        if hashlib.sha256(data).hexdigest() != sha:
            raise InputError(
                "the bytes have another hash than the address names.",
                where="photo",
                do="Send the picture again.",
            )
        if self.path(sha) is not None:
            return False
        kind, copy = looked_into(data)
        _write(self.small / f"{sha}.jpg", copy)
        _write(self.folder / f"{sha}.{kind}", data)
        return True

    def small_of(self, sha: str) -> bytes:
        """The small copy, made again where it is lost."""
        path = self.path(sha)
        if path is None:
            raise _no_photo(sha)
        copy = self.small / f"{sha}.jpg"
        if not copy.is_file():
            _write(copy, looked_into(path.read_bytes())[1])
        return copy.read_bytes()

    def about(self, sha: str) -> About:
        """Size, time and place of a picture."""
        path = self.path(sha)
        if path is None:
            raise _no_photo(sha)
        with Image.open(path) as image:
            wide, high = image.size
            try:
                exif = image.getexif()
                if exif.get(ExifTags.Base.Orientation) in (5, 6, 7, 8):
                    wide, high = high, wide
                said: dict[str, Any] = {
                    "taken": _taken(exif),
                    "latitude_deg": _degrees(exif, "Latitude", 90),
                    "longitude_deg": _degrees(exif, "Longitude", 180),
                }
            except Exception:  # notes made to hurt their reader say nothing
                said = {}
        return About(
            sha256=sha, media=MEDIA[path.suffix[1:]], size_bytes=path.stat().st_size,
            width_px=wide, height_px=high, **said,
        )  # fmt: skip


def looked_into(data: bytes) -> tuple[str, bytes]:
    """The ending of a picture's kind and its small copy: whole, upright, without its notes.

    Decoding all of it is the check: a file cut short, a drawing with a script in it or
    another kind of file fails here. What a picture carries besides its pixels stays in
    the kept original, and is never shown as anything but a picture.

    Raises
    ------
    InputError
        If it is no whole JPEG, PNG or WebP of at most 64 million pixels.
    """
    do = "Send a JPEG, PNG or WebP picture."
    with _one:
        try:
            with Image.open(io.BytesIO(data), formats=tuple(KINDS)) as image:
                kind = str(image.format)
                if image.width * image.height > LARGEST_PIXELS:
                    raise _too_many_pixels()
                image.draft("RGB", (SMALL_PX, SMALL_PX))
                image.load()
                upright = ImageOps.exif_transpose(image).convert("RGB")
        except UnidentifiedImageError as error:
            raise InputError("this is no picture of ours.", where="photo", do=do) from error
        except (Image.DecompressionBombError, Image.DecompressionBombWarning) as error:
            raise _too_many_pixels() from error
        except InputError:
            raise
        except Exception as error:  # a decoder may raise anything on a file made to hurt it
            raise InputError(
                "the picture is cut short or damaged.", where="photo", do="Send it again."
            ) from error
        upright.thumbnail((SMALL_PX, SMALL_PX))
        out = io.BytesIO()
        upright.save(out, "JPEG", quality=82)
    return KINDS[kind], out.getvalue()


def _too_many_pixels() -> InputError:
    return InputError(
        f"the picture has more than {LARGEST_PIXELS / 1e6:.0f} million pixels.",
        where="photo",
        do="Take it with fewer pixels.",
    )


def _taken(exif: Image.Exif) -> str | None:
    details = exif.get_ifd(ExifTags.IFD.Exif)
    text = details.get(ExifTags.Base.DateTimeOriginal) or exif.get(ExifTags.Base.DateTime)
    try:
        moment = datetime.strptime(str(text).strip("\0 "), "%Y:%m:%d %H:%M:%S")
    except ValueError:
        return None
    offset = str(details.get(ExifTags.Base.OffsetTimeOriginal, "")).strip("\0 ")
    return moment.isoformat() + (offset if re.match(r"^[+-]\d\d:\d\d$", offset) else "")


def _degrees(exif: Image.Exif, name: str, limit: float) -> float | None:
    place = exif.get_ifd(ExifTags.IFD.GPSInfo)
    parts: Any = place.get(ExifTags.GPS[f"GPS{name}"])
    side = str(place.get(ExifTags.GPS[f"GPS{name}Ref"], ""))[:1]
    try:
        value = float(parts[0]) + float(parts[1]) / 60 + float(parts[2]) / 3600
    except (TypeError, ValueError, IndexError, ZeroDivisionError):
        return None
    if not math.isfinite(value) or not 0 <= value <= limit or side not in "NSEW":
        return None
    return round(-value if side in ("S", "W") else value, 6)


def _no_photo(sha: str) -> NotFound:
    return NotFound(f"there is no photo {sha[:64]!r}.", where="photo", do="Send it first.")


def _write(path: Path, data: bytes) -> None:
    """Whole or not at all, and on the disk."""
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, name = tempfile.mkstemp(prefix=".new-", dir=path.parent)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        Path(name).chmod(0o644)
        Path(name).replace(path)
        folder = os.open(path.parent, os.O_RDONLY)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise
