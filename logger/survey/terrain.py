"""Far horizons of a job's points from elevation tiles, and north from them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from logger import __version__
from logger.calibration import StoredCalibration, stored_from_dict
from logger.checks import NORMAL_95, Check
from logger.errors import InputError, LoggerError, UsageError
from logger.files import plain
from logger.horizon import HorizonProfile
from logger.horizon_fit import SetSector
from logger.job import Job, kept_recordings, known_points, write_json
from logger.job.names import stamp
from logger.orientation import BearingCorrection
from logger.settings import changed
from logger.survey.calibrations import (
    Wanted,
    about_of,
    chosen_for,
    is_by_ridge,
    stored_calibrations,
)
from logger.survey.pipeline import declination_of, swept_point
from logger.survey.points import load_sweep, point_setup
from logger.survey.recipe import Recipe, recipe_of
from logger.survey.result import Sweep
from logger.survey.terrain_store import SCHEMA, far_as_dict, terrain_path
from logger.terrain import (
    FarHorizon,
    Heights,
    NorthFix,
    TileSource,
    far_horizon,
    licence_of,
    north_from,
    read_heights,
)
from logger.terrain.north import WIDEST_ERROR_DEG
from logger.terrain.skyline import FARTHEST_M, REFRACTION
from logger.terrain.tiles import tile_name

ORIGIN = "origin"
"""In place of a point's name where the job has none yet."""
SIGHT_HEIGHT_M = 1.6
"""Of an eye above where it stands, where nobody told (common practice, no source). [m]"""
VERTICAL_ERROR_M, VERTICAL_ERROR_SOURCE = 9.7, "16 m at 90 %, the shuttle radar mission's own limit"
"""Of tiles whose error nobody told, 1 sigma: 16 m / 1.645 (mission specification, from memory;
what was measured later is mostly better). [m]"""
ALTITUDE_LIMIT_M = 30.0
"""The job's altitude may differ from the tiles' by this and their error (common practice, no
source). [m]"""
METRES_A_DEGREE = 111_195.0
"""Of latitude, on a sphere of 6371 km: good enough within a site. [m]"""
BELIEVABLE = ("terrain", "compass")


@dataclass(frozen=True, eq=False)
class Ridge:
    """One recording laid onto the computed skyline."""

    recording: str
    profile: HorizonProfile  # As swept, by the compass
    fix: NorthFix
    compass_error_deg: float  # Of the heading as it was before, 1 sigma. [deg]
    said: str  # What came of it
    checks: tuple[Check, ...] = ()
    calibration: StoredCalibration | None = None  # None where no north is taken from it

    def as_dict(self) -> dict[str, Any]:
        """As stored with the far horizon."""
        told = {key: getattr(self.fix, key) for key in (
            "turn_deg", "standard_error_deg", "lift_deg", "lift_error_deg", "used_deg",
            "misfit_deg", "declined",
        )}  # fmt: skip
        return {
            "recording": self.recording,
            **told,
            "compass_error_deg": self.compass_error_deg,
            "stored": self.calibration is not None,
            "said": self.said,
        }


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

    Parameters
    ----------
    job : Job
    folder : Path
        Of the tiles.
    points : sequence of str, optional
        Names; without them every point, or the job's origin where it has none.
    vertical_error_m : float, optional
        Of the tiles' heights, 1 sigma. [m]
    licence : str, optional
        Who holds the rights to the tiles; else what a file beside them says.
    believe : str, optional
        One of `BELIEVABLE`, where ridge and compass contradict each other.
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
        far, under_m = _far_of(job, point, heights, error_m)
        ridges, unused = _ridges_of(job, point, recipe, far, believe)
        found.append(PointTerrain(point, far, under_m, ridges, unused))
    checks = [_altitude_check(site.altitude_m, ground, error_m)]
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
        for path in kept_recordings(job, one.point):
            _forget(job, path.name)
        for ridge in one.ridges:
            if (stored := ridge.calibration) is None:
                continue
            about = stored.about
            name = f"{stamp(about.made)}-ridge-{about.sha256[:8]}.json"
            told = plain(stored.as_dict())
            stored_from_dict(told, name)  # what could not be read again is not stored
            write_json(job.folder / "calibrations" / name, told)


def _forget(job: Job, recording: str) -> None:
    """Remove a bearing that was taken from this recording before."""
    for stored in stored_calibrations(job):
        if is_by_ridge(stored) and stored.about.recording == recording:
            (job.folder / "calibrations" / stored.file).unlink(missing_ok=True)


def _far_of(job: Job, point: str, heights: Heights, error_m: float) -> tuple[FarHorizon, float]:
    """The far horizon of a point, and the ground there."""
    known, site = job.point(point), job.site
    north = site.latitude_deg + (known.north_m or 0.0) / METRES_A_DEGREE
    shrink = METRES_A_DEGREE * float(np.cos(np.radians(site.latitude_deg)))
    east = site.longitude_deg + (known.east_m or 0.0) / shrink
    ground = heights.at(north, east)
    # An altitude that nobody told is 0: the eye never stands below the ground.
    stands = float(np.nanmax([site.altitude_m + (known.up_m or 0.0), ground]))
    sight = SIGHT_HEIGHT_M if known.sight_height_m is None else known.sight_height_m
    return far_horizon(heights, north, east, stands + sight, error_m), ground


def _altitude_check(altitude_m: float, ground_m: float, error_m: float) -> Check:
    limit = ALTITUDE_LIMIT_M + round(NORMAL_95 * error_m, 1)
    untold = altitude_m == 0.0 and ground_m > 0
    apart = 0.0 if untold else abs(altitude_m - ground_m)
    told = "the job tells no altitude" if untold else f"the job says {altitude_m:.0f} m"
    why = f"the site is at {ground_m:.0f} m by the tiles; {told}"
    if apart > limit:
        why += "; put latitude, longitude or altitude right under [site] in job.toml"
    return Check("altitude agrees with tiles", apart <= limit, round(apart, 1), limit, "m", why)


def _ridges_of(
    job: Job, point: str, recipe: Recipe, far: FarHorizon, believe: str | None
) -> tuple[tuple[Ridge, ...], tuple[str, ...]]:
    """Each recording of a point laid onto its far horizon."""
    ridges, unused = [], []
    for path in kept_recordings(job, point):
        try:
            ridges.append(_ridge(job, point, load_sweep(path), recipe, far, believe))
        except LoggerError as error:
            unused.append(f"{path.name}: {error.what}")
    return tuple(ridges), tuple(unused)


def _ridge(
    job: Job, point: str, sweep: Sweep, recipe: Recipe, far: FarHorizon, believe: str | None
) -> Ridge:
    recording = sweep.recording
    if recording.started is None or len(sweep.stream.by_board()) > 1:
        raise UsageError("it bears no date, or two boards sent in it")
    stored = [one for one in stored_calibrations(job) if not is_by_ridge(one)]
    # What turns the compass turns all of the sweep: such samples are as good here as others.
    lenient = changed(recipe.settings, {"disturbance_share": "1", "disturbance_dip_deg": "90"})
    setup = point_setup(job, point, alone=True)
    setup = replace(
        setup,
        edits=tuple(edit for edit in setup.edits if not isinstance(edit, SetSector)),
        module_height_m=None,
        terrain=None,
    )
    swept = swept_point(
        point,
        [sweep],
        replace(recipe, settings=lenient),
        setup,
        lambda one, declination: chosen_for(job, stored, one, declination),
    )
    profile, corrections = swept.horizon.profile, swept.chosen[0].corrections
    fix = north_from(profile, far)
    samples = sweep.stream.samples
    true = bool((samples.heading_is_true & ~samples.has_field).all())
    declination = 0.0 if true else declination_of(sweep, recipe).value_deg
    before = corrections.bearing
    bearing = BearingCorrection(
        heading_deg=fix.turn_deg + (before.heading_deg if before else declination),
        standard_error_deg=float(np.clip(fix.standard_error_deg, 0.01, 180.0)),
        residual_deg=fix.turn_deg + (before.heading_deg - declination if before else 0.0),
        source="the far ridge",
    )
    ridge = Ridge(recording.path.name, profile, fix, profile.heading_error_deg, fix.declined)
    if fix.declined:
        return ridge
    checks = (_error_check(ridge), _agreement_check(ridge, believe))
    better = before is not None and before.standard_error_deg < fix.standard_error_deg
    good_to = f"{NORMAL_95 * fix.standard_error_deg:.2f}° (95 %)"
    said = f"the compass is {fix.turn_deg:+.2f}° off, good to {good_to}"
    if not checks[1].passed or better or believe == "compass":
        why = (
            "the compass is believed"
            if believe == "compass"
            else "the bearing taken before is better"
        )
        said += f"; not stored: {why if checks[1].passed else 'it contradicts the compass'}"
        return replace(ridge, said=said, checks=checks)
    figures = {
        "ridge_used_deg": fix.used_deg,
        "ridge_misfit_deg": fix.misfit_deg,
        "ridge_lift_deg": fix.lift_deg,
        "ridge_lift_error_deg": fix.lift_error_deg,
        "heading_deg": bearing.heading_deg,
        "residual_deg": bearing.residual_deg,
        "standard_error_deg": bearing.standard_error_deg,
        "declination_deg": declination,
    }
    figures = {key: round(value, 4) for key, value in figures.items()}
    about = about_of(recording, sweep.stream, job, Wanted("bearing"))
    made = StoredCalibration(about, "bearing", bearing, figures, checks)
    return replace(ridge, said=said, checks=checks, calibration=made)


def _error_check(ridge: Ridge) -> Check:
    fix = ridge.fix
    why = (
        f"{ridge.recording}: {fix.used_deg:.0f}° of it lie on the far ridge within "
        f"{fix.misfit_deg:.2f}°; north is good to {NORMAL_95 * fix.standard_error_deg:.2f}° (95 %)"
    )
    value = round(fix.standard_error_deg, 3)
    return Check("north from the ridge", True, value, WIDEST_ERROR_DEG, "deg", why)


def _agreement_check(ridge: Ridge, believe: str | None) -> Check:
    """Whether ridge and compass agree within both errors, or the user said which to believe."""
    fix = ridge.fix
    limit = round(NORMAL_95 * float(np.hypot(fix.standard_error_deg, ridge.compass_error_deg)), 3)
    apart = abs(fix.turn_deg)
    why = f"{ridge.recording}: the compass points {fix.turn_deg:+.2f}° from the far ridge's north"
    passed = apart <= limit
    if not passed and believe is not None:
        passed, why = True, f"{why}, more than {limit:.2f}°; the {believe} is believed"
    elif not passed:
        why += (
            f", more than both errors allow ({limit:.2f}°): steel nearby, or the wrong site or "
            "tiles; say which is right with --believe terrain or --believe compass"
        )
    name = "ridge agrees with compass"
    return Check(name, passed, round(apart, 3), limit, "deg", why)
