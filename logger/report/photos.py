"""Photos of a point: which there are, what they say of themselves, and small copies of them."""

from __future__ import annotations

import datetime as dt
import io
import math
import re
import warnings
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from logger.errors import InputError
from logger.job import Job, point_folder

FORMATS = ("JPEG", "PNG", "WEBP", "TIFF")
"""What a photo may be, whatever its name says: some other kinds of picture are programs."""
ENDINGS = (".jpg", ".jpeg", ".png", ".webp", ".tif", ".tiff")
MOST_PIXELS = 40_000_000
"""Of a photo that is no JPEG, which alone can be read at an eighth of its size: a file of some
kilobytes may hold a picture that takes a gigabyte."""
MOST = 5
"""Of a point in the document, in the order of their names: the first large, the others small."""

_EXIF, _GPS, _TAKEN, _DIRECTION, _DIRECTION_FROM = 0x8769, 0x8825, 0x9003, 17, 16
"""Tags of a photo's metadata, by the Exif standard (CIPA DC-008)."""


@dataclass(frozen=True)
class Photo:
    """One photo of a point."""

    caption: str  # Its file name in words
    taken: dt.date | None = None  # As the camera says
    direction_deg: float | None = None  # Azimuth it looks to, as the camera says. [deg]
    magnetic: bool = False  # The direction is by the camera's own compass


def photos_of(job: Job, point: str) -> list[Path]:
    """A point's photos, ``photos/<point>/``, in order of their names.

    A link that leads out of the folder is no photo of the job's, and what is no file is none.
    """
    folder = point_folder(job.folder, "photos", point)
    if not folder.is_dir():
        return []
    inside = folder.resolve()
    return sorted(
        p
        for p in folder.iterdir()
        if p.suffix.lower() in ENDINGS and p.is_file() and inside in p.resolve().parents
    )


def photo_at(path: Path) -> tuple[Photo, bytes]:
    """What a photo says of itself, and a small upright JPEG of it without its metadata.

    Metadata tell where a photo was taken, and more: none of it leaves with the document.
    """
    from PIL import Image, ImageOps

    out = io.BytesIO()
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # it is a size of picture that is warned of
            opened = Image.open(path, formats=FORMATS)
        with opened:
            exif = opened.getexif()
            about = _said(path, exif.get_ifd(_EXIF), exif.get_ifd(_GPS))
            opened.draft("RGB", (1000, 1000))
            if opened.width * opened.height > MOST_PIXELS:
                raise ValueError(f"it has {opened.width} times {opened.height} pixels")
            upright = ImageOps.exif_transpose(opened.convert("RGB"))
            upright.thumbnail((1000, 1000))
            upright.info.clear()
            upright.save(out, "JPEG", quality=82)
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError) as error:
        raise InputError(f"is no picture that can be read: {error}", str(path)) from error
    return about, out.getvalue()


def _said(path: Path, exif: Any, gps: Any) -> Photo:
    try:
        taken = dt.datetime.strptime(str(exif.get(_TAKEN)), "%Y:%m:%d %H:%M:%S").date()
    except ValueError:
        taken = None
    try:
        direction = float(gps.get(_DIRECTION, math.nan))
    except (TypeError, ValueError, ZeroDivisionError):
        direction = math.nan
    known = math.isfinite(direction) and 0 <= direction <= 360
    # A number in front puts the photos in their order.
    caption = re.sub(r"^\d+ (?=.)", "", " ".join(re.split(r"[\s_-]+", path.stem))).strip()
    magnetic = str(gps.get(_DIRECTION_FROM, "")).strip("\0") == "M"
    return Photo(caption, taken, direction if known else None, magnetic)
