"""Sweeps laid onto the computed far horizon: a bearing that steel cannot turn."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from logger.calibration import StoredCalibration
from logger.checks import NORMAL_95, Check
from logger.edits import SetSector
from logger.errors import UsageError
from logger.horizon import HorizonProfile
from logger.job import Job
from logger.orientation import BearingCorrection
from logger.settings import changed
from logger.survey.calibrations import Wanted, about_of, is_by_ridge, stored_calibrations
from logger.survey.pipeline import declination_of, swept_point
from logger.survey.points import point_setup
from logger.survey.recipe import Recipe
from logger.survey.result import Sweep, SweptPoint
from logger.terrain import FarHorizon, NorthFix, north_from


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
        curve = ("turns_deg", "worse")
        return {
            "recording": self.recording,
            **{key: value for key, value in vars(self.fix).items() if key not in curve},
            "compass_error_deg": self.compass_error_deg,
            "stored": self.calibration is not None,
            "said": self.said,
        }


def ridge_of(
    job: Job, point: str, sweep: Sweep, recipe: Recipe, far: FarHorizon, believe: str | None
) -> Ridge:
    """A recording of a point laid onto its far horizon; LoggerError where it cannot be."""
    recording = sweep.recording
    if recording.started is None or len(sweep.stream.by_board()) > 1:
        raise UsageError("it bears no date, or two boards sent in it")
    swept = _swept_alone(job, point, sweep, recipe)
    profile, before = swept.horizon.profile, swept.chosen[0].corrections.bearing
    fix = north_from(profile, far)
    ridge = Ridge(recording.path.name, profile, fix, profile.heading_error_deg, fix.declined)
    if fix.declined:
        return ridge
    check = agreement_check(
        fix.turn_deg,
        fix.standard_error_deg,
        ridge.compass_error_deg,
        believe,
        f"{ridge.recording}: {fix.used_deg:.0f}° of it lie on the far ridge within "
        f"{fix.misfit_deg:.2f}°",
    )
    good_to = f"{NORMAL_95 * fix.standard_error_deg:.2f}° (95 %)"
    said = f"the compass is {fix.turn_deg:+.2f}° off, good to {good_to}"
    why = ""
    if not check.passed:
        why = "it contradicts the compass"
    elif believe == "compass":
        why = "the compass is believed"
    elif before is not None and before.standard_error_deg < fix.standard_error_deg:
        why = "the bearing taken before is better"
    if why:
        return replace(ridge, said=f"{said}; not stored: {why}", checks=(check,))
    samples = sweep.stream.samples
    true = bool((samples.heading_is_true & ~samples.has_field).all())
    declination = 0.0 if true else declination_of(sweep, recipe).value_deg
    bearing = BearingCorrection(
        heading_deg=fix.turn_deg + (before.heading_deg if before else declination),
        standard_error_deg=fix.standard_error_deg,
        residual_deg=fix.turn_deg + (before.heading_deg - declination if before else 0.0),
        source="the far ridge",
    )
    about = about_of(recording, sweep.stream, job, Wanted("bearing"))
    figures = _figures(fix, bearing, declination)
    made = StoredCalibration(about, "bearing", bearing, figures, (check,))
    return replace(ridge, said=said, checks=(check,), calibration=made)


def _swept_alone(job: Job, point: str, sweep: Sweep, recipe: Recipe) -> SweptPoint:
    """One recording as far as its horizon, with no bearing of a ridge and nothing set by hand."""
    stored = tuple(one for one in stored_calibrations(job) if not is_by_ridge(one))
    # What turns the compass turns all of the sweep: such samples are as good here as others.
    lenient = changed(recipe.settings, {"disturbance_share": "1", "disturbance_dip_deg": "90"})
    setup = point_setup(job, point, alone=True)
    edits = tuple(edit for edit in setup.edits if not isinstance(edit, SetSector))
    return swept_point(
        point,
        [sweep],
        replace(recipe, settings=lenient),
        replace(setup, edits=edits, terrain=None, stored=stored),
    )


def _figures(fix: NorthFix, bearing: BearingCorrection, declination_deg: float) -> dict[str, Any]:
    figures = {
        "ridge_used_deg": fix.used_deg,
        "ridge_misfit_deg": fix.misfit_deg,
        "ridge_lift_deg": fix.lift_deg,
        "ridge_lift_error_deg": fix.lift_error_deg,
        "heading_deg": bearing.heading_deg,
        "residual_deg": bearing.residual_deg,
        "standard_error_deg": bearing.standard_error_deg,
        "declination_deg": declination_deg,
    }
    return {key: round(value, 4) for key, value in figures.items()}


def agreement_check(
    turn_deg: float, error_deg: float, compass_error_deg: float, believe: str | None, why: str
) -> Check:
    """Whether ridge and compass agree within both errors, or the user said which to believe."""
    limit = round(NORMAL_95 * float(np.hypot(error_deg, compass_error_deg)), 3)
    apart = abs(turn_deg)
    why += f"; the compass is {turn_deg:+.2f}° from the ridge's north"
    passed = apart <= limit
    if not passed and believe is not None:
        passed, why = True, f"{why}, more than {limit:.2f}°; the {believe} is believed"
    elif not passed:
        why += (
            f", more than both errors allow ({limit:.2f}°): steel nearby, or the wrong site or "
            "tiles; say which is right with --believe terrain or --believe compass"
        )
    return Check("ridge agrees with compass", passed, round(apart, 3), limit, "deg", why)
