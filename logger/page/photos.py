"""Photos from the phone: kept as they came, named by the moment and the direction of the sight."""

from __future__ import annotations

import datetime as dt
import math
import os

from logger.errors import LoggerError
from logger.job import Job, point_folder
from logger.live.state import LiveState

MOST_PHOTO_BYTES = 25 * 2**20
MOST_PHOTOS = 200
_BEGIN = {b"\xff\xd8\xff": ".jpg", b"\x89PNG\r\n\x1a\n": ".png", b"RIFF": ".webp"}


class PhotoError(Exception):
    """A photo that is not kept."""


def keep_photo(job: Job, state: LiveState, content: bytes) -> str:
    """Write a photo, unchanged, into the point's folder; its name, which the report shows."""
    ending = next((e for begin, e in _BEGIN.items() if content.startswith(begin)), "")
    if not ending or (ending == ".webp" and content[8:12] != b"WEBP"):
        raise PhotoError("no photo: JPEG, PNG or WebP")
    name = f"{dt.datetime.now(dt.UTC):%Y%m%dT%H%M%S%fZ}"
    if math.isfinite(state.azimuth_deg):
        name += f" azimuth {state.azimuth_deg:.0f} elevation {state.elevation_deg:.0f}"
    try:
        folder = point_folder(job.folder, "photos", state.point)
        folder.mkdir(parents=True, exist_ok=True)
        if len(os.listdir(folder)) >= MOST_PHOTOS:
            raise PhotoError("no photo: the point has as many as one may have")
        with (folder / f"{name}{ending}").open("xb") as file:
            file.write(content)
    except (OSError, LoggerError) as error:
        raise PhotoError(f"no photo kept: {error}") from error
    return f"{name}{ending}"
