"""Far horizons of a job's points from elevation tiles, and what is stored of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np

from logger import __version__
from logger.checks import NORMAL_95, Check
from logger.errors import InputError, LoggerError
from logger.files import plain
from logger.job import Job, kept_recordings, known_points, write_json
from logger.job.names import stamp
from logger.outputs import remove_in_job
from logger.site import moved
from logger.survey.calibrations import is_by_ridge, store, stored_calibrations
from logger.survey.points import load_sweep
from logger.survey.positions import told_position
from logger.survey.recipe import recipe_of
from logger.survey.result import Sweep
from logger.survey.ridge import Ridge, ridge_of
from logger.survey.terrain_store import SCHEMA, far_as_dict, terrain_path
from logger.terrain import (
    FarHorizon,
    Heights,
    TileSource,
    far_horizon,
    licence_of,
    read_heights,
)
from logger.terrain.skyline import FARTHEST_M, REFRACTION
from logger.terrain.tiles import tile_name

ORIGIN = "origin"  # In place of a point's name where the job has none yet
# Of an eye above where it stands, where nobody told (common practice, no source). [m]
SIGHT_HEIGHT_M = 1.6
# Of tiles whose error nobody told, 1 sigma: 16 m / 1.645 (mission specification, from memory; what
# was measured later is mostly better). [m]
VERTICAL_ERROR_M, VERTICAL_ERROR_SOURCE = 9.7, "16 m at 90 %, the shuttle radar mission's own limit"
# The job's altitude may differ from the tiles' by this and their error (common practice, no
# source). [m]
ALTITUDE_LIMIT_M = 30.0


@dataclass(frozen=True, eq=False)
class PointTerrain:
    """What elevation data say of one point."""

    point: str
    far: FarHorizon
    ground_m: float  # Of the tiles, where the point is. [m]
    ridges: tuple[Ridge, ...]  # One a recording that could be used
    unused: tuple[str, ...]  # Why others could not


@dataclass(frozen=True, eq=False)
class TerrainAnswer:
    """What elevation data say of a job."""

    sources: tuple[TileSource, ...]
    licence: str  # Empty where nobody told
    vertical_error_m: float  # 1 sigma. [m]
    vertical_error_source: str
    points: tuple[PointTerrain, ...]
    checks: tuple[Check, ...]

    def document(self, one: PointTerrain) -> dict[str, Any]:
        """A point's far horizon as it is stored, with all it came from."""
        return {
            "schema": SCHEMA,
            "program": f"horizon-logger {__version__}",
            "point": one.point,
            "tiles": [asdict(source) for source in self.sources],
            "licence": self.licence,
            "vertical_error_m": self.vertical_error_m,
            "vertical_error_source": self.vertical_error_source,
            "refraction": REFRACTION,
            "ground_m": one.ground_m,
            "north": [ridge.as_dict() for ridge in one.ridges],
            **far_as_dict(one.far),
        }


def work_out(
    job: Job,
    folder: Path,
    *,
    points: Sequence[str] = (),
    vertical_error_m: float | None = None,
    licence: str = "",
    believe: str | None = None,
) -> TerrainAnswer:
    """Compute far horizons and fit sweeps to them; nothing is stored.

    Without names every point, or the job's origin where it has none; `believe` is "terrain" or
    "compass", where ridge and compass contradict each other.
    """
    error_m = VERTICAL_ERROR_M if vertical_error_m is None else vertical_error_m
    source = VERTICAL_ERROR_SOURCE if vertical_error_m is None else "as given"
    heights = read_heights(folder, job.site, FARTHEST_M + 1000.0)
    site = job.site
    ground = heights.at(site.latitude_deg, site.longitude_deg)
    if np.isnan(ground):
        name = tile_name(site.latitude_deg, site.longitude_deg)
        what = "the tiles have no height where the job's site is"
        raise InputError(what, str(folder), f"the tile {name} holds it")
    found, recipe = [], recipe_of(job)
    for point in points or known_points(job) or (ORIGIN,):
        sweeps, unused = _sweeps_of(job, point)
        far, under_m = _far_of(job, point, sweeps, heights, error_m)
        ridges = []
        for sweep in sweeps:
            try:
                ridges.append(ridge_of(job, point, sweep, recipe, far, believe))
            except LoggerError as error:
                unused.append(f"{sweep.recording.path.name}: {error.what}")
        found.append(PointTerrain(point, far, under_m, tuple(ridges), tuple(unused)))
    checks = [altitude_check(site.altitude_m, ground, error_m)]
    checks += [check for one in found for ridge in one.ridges for check in ridge.checks]
    return TerrainAnswer(
        heights.sources,
        licence or licence_of(folder, heights.sources),
        error_m,
        source,
        tuple(found),
        tuple(checks),
    )


def keep_terrain(job: Job, answer: TerrainAnswer) -> None:
    """Store far horizons and the bearings taken from them, in place of earlier ones."""
    for one in answer.points:
        write_json(terrain_path(job, one.point), plain(answer.document(one)))
        swept = {path.name for path in kept_recordings(job, one.point)}
        for stored in stored_calibrations(job):
            if is_by_ridge(stored) and stored.about.recording in swept:
                remove_in_job(job.folder, job.folder / "calibrations" / stored.file)
        for ridge in one.ridges:
            if (made := ridge.calibration) is not None:
                name = f"{stamp(made.about.made)}-ridge-{made.about.sha256[:8]}.json"
                store(job.folder / "calibrations" / name, made)


def _sweeps_of(job: Job, point: str) -> tuple[list[Sweep], list[str]]:
    """Recordings of a point, and why others cannot be read."""
    sweeps, unread = [], []
    for path in kept_recordings(job, point):
        try:
            sweeps.append(load_sweep(path))
        except LoggerError as error:
            unread.append(f"{path.name}: {error.what}")
    return sweeps, unread


def _far_of(
    job: Job, point: str, sweeps: Sequence[Sweep], heights: Heights, error_m: float
) -> tuple[FarHorizon, float]:
    """The far horizon of a point, and the ground there."""
    east, north, up, _ = told_position(job, point, [sweep.recording for sweep in sweeps])
    place = moved(job.site, east or 0.0, north or 0.0)
    ground, origin = heights.at(*place), heights.at(job.site.latitude_deg, job.site.longitude_deg)
    # An altitude that nobody told is 0: the origin never lies below the ground.
    stands = max(job.site.altitude_m, origin)
    if up is None:
        known = job.point(point).sight_height_m
        stands, up = float(np.nanmax([stands, ground])), SIGHT_HEIGHT_M if known is None else known
    return far_horizon(heights, *place, stands + up, error_m), ground


def altitude_check(altitude_m: float, ground_m: float, error_m: float) -> Check:
    """Whether place and tiles belong together; an altitude that nobody told is 0."""
    limit = ALTITUDE_LIMIT_M + round(NORMAL_95 * error_m, 1)
    untold = altitude_m == 0.0 and ground_m > 0
    apart = 0.0 if untold else abs(altitude_m - ground_m)
    told = "the job tells no altitude" if untold else f"the job says {altitude_m:.0f} m"
    why = f"the site is at {ground_m:.0f} m by the tiles; {told}"
    if apart > limit:
        why += "; put latitude, longitude or altitude right under [site] in job.toml"
    return Check("altitude agrees with tiles", apart <= limit, round(apart, 1), limit, "m", why)
