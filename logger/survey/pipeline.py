"""The whole line as one function: recordings of a point in, horizon, access and checks out.

    bytes -> sentences -> samples -> sight lines -> horizon -> access

Live sweeps, replay, batch and the demo all call `survey_point`; none of them has a line of its
own.
"""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from logger.calibration import (
    Chosen,
    ClosingTarget,
    StoredCalibration,
    SweepAbout,
    check_closing_target,
    choose_calibrations,
)
from logger.checks import Check
from logger.edits import Edit, excluded
from logger.errors import InputError, UsageError
from logger.geomagnetism import MagneticModel
from logger.horizon import LEAF_STATES, LeafSeen, Obstruction
from logger.horizon_fit import SightedSweep, edited_passes, edited_profile, horizon_from
from logger.horizon_fit.heights import at_module
from logger.orientation import (
    UNDATED,
    Declination,
    declination_at,
    declination_given,
    field_expected_at,
    orient,
)
from logger.parallax import PositionedPoint, with_distances
from logger.recording import Recording, recording_checks
from logger.settings import Settings
from logger.site import Site
from logger.survey.positions import Position
from logger.survey.recipe import Recipe, year_of
from logger.survey.result import PointResult, Sweep, SweptPoint
from logger.terrain import FarHorizon, with_terrain


@dataclass(frozen=True, eq=False)
class PointSetup:
    """What a job knows of a point beside its recordings."""

    # Sectors named beforehand; they go before the operator's labels
    obstructions: tuple[Obstruction, ...] = ()
    distances_m: Mapping[str, float] = field(default_factory=dict)  # Of obstructions by name. [m]
    # Above one surface; the sight's serves recordings that do not tell theirs. [m]
    sight_height_m: float | None = None
    module_height_m: float | None = None
    edits: tuple[Edit, ...] = ()  # Changes made in the office, oldest first
    # That ended before anything came: named, and left out
    begun: tuple[Recording, ...] = ()
    terrain: FarHorizon | None = None  # As computed from elevation data
    stored: tuple[StoredCalibration, ...] | None = None  # The job's; None without a job
    here: Position | None = None
    beside: tuple[PositionedPoint, ...] = ()  # Swept nearby: they tell distances

    def sight_height_of(self, recording: Recording) -> float | None:
        """As the recording tells it, else the job. [m]"""
        told = recording.number("sight_height_m")
        return self.sight_height_m if told is None else told


def survey_point(
    name: str,
    sweeps: Sequence[Sweep],
    recipe: Recipe,
    *,
    setup: PointSetup | None = None,
) -> PointResult:
    """Take all recordings of one point through the whole line."""
    setup = setup or PointSetup()
    swept = swept_point(name, sweeps, recipe, setup)
    profile = swept.horizon.profile
    if setup.here and setup.beside:
        profile = with_distances(PositionedPoint(name, *setup.here, profile), setup.beside)
    heights = [s.sight_height_m for s in swept.horizon.sweeps if s.sight_height_m is not None]
    latitude_deg = recipe.site.latitude_deg
    profile, height = at_module(profile, heights, setup.module_height_m, latitude_deg)
    access = year_of(recipe).assess(profile)
    of_height = () if height is None else (height,)
    checks = _merged((*swept.checks, *swept.horizon.checks, *of_height, *access.checks))
    about = {"name": name, "access": access, "recipe": recipe, "begun": setup.begun}
    about |= {"checks": checks, "horizon": replace(swept.horizon, profile=profile)}
    return PointResult(**vars(swept) | about)


def swept_point(
    name: str, sweeps: Sequence[Sweep], recipe: Recipe, setup: PointSetup
) -> SweptPoint:
    """Take all recordings of one point as far as its horizon."""
    out = excluded(setup.edits)
    sweeps = [s for s in sweeps if s.recording.path.name not in out]
    if not sweeps:
        why = ": every one is excluded by an edit" if out else ""
        raise InputError(f"there is no recording of this point{why}", name)
    passes, chosen, closing_targets = [], [], []
    checks = [c for sweep in sweeps for c in recording_checks(sweep.recording, sweep.stream)]
    sweeps = [replace(sweep, stream=part) for sweep in sweeps for part in sweep.stream.by_board()]
    for sweep in sweeps:
        raw = sweep.stream.samples.is_raw
        calibrated = chosen_for(
            setup.stored or (),
            sweep,
            recipe.site,
            declination_of(sweep, recipe),
            recipe.magnetic_model,
            needed=("compass",) if raw or setup.stored is not None else (),
        )
        closing, oriented_checks = _closing(sweep, calibrated, recipe.settings)
        passes.append(
            SightedSweep(
                closing.sight,
                closing.keys,
                sweep.stream.notes,
                name=sweep.recording.path.name,
                sight_height_m=setup.sight_height_of(sweep.recording),
            )
        )
        chosen.append(calibrated)
        closing_targets.append(closing)
        checks += [*calibrated.checks, *oriented_checks, *closing.checks]
    if not any(one.sight.used.any() for one in passes):
        reasons = sum((Counter(one.sight.rejected()) for one in passes), Counter[str]())
        why = ", ".join(f"{n} {reason}" for reason, n in reasons.items()) or "no samples at all"
        raise InputError(f"not one sample can be used: {why}", name)
    horizon = horizon_from(
        edited_passes(passes, setup.edits),
        recipe.site.latitude_deg,
        recipe.settings,
        setup.obstructions,
        setup.distances_m,
    )
    profile = edited_profile(horizon.profile, setup.edits)
    profile = replace(profile, leaf_seen=_leaf_seen(sweeps))
    if setup.terrain is not None:
        profile = with_terrain(profile, setup.terrain)
    return SweptPoint(
        sweeps=tuple(sweeps),
        chosen=tuple(chosen),
        closing_targets=tuple(closing_targets),
        horizon=replace(horizon, profile=profile),
        checks=tuple(checks),
    )


def _leaf_seen(sweeps: Sequence[Sweep]) -> tuple[LeafSeen, ...]:
    """What dated recordings tell of the deciduous trees."""
    told = ((s.recording.started, s.recording.text("leaf")) for s in sweeps)
    seen = (
        LeafSeen(started.timetuple().tm_yday, leaf)
        for started, leaf in told
        if started is not None and leaf in LEAF_STATES
    )
    return tuple(dict.fromkeys(seen))


def _closing(
    sweep: Sweep, calibrated: Chosen, settings: Settings
) -> tuple[ClosingTarget, tuple[Check, ...]]:
    """Sight lines held against the closing target; the attitude they come from is let go."""
    stream = sweep.stream
    oriented = orient(stream.samples, calibrated.corrections, settings)
    closing = check_closing_target(
        oriented.sight, stream.keys, stream.notes, calibrated.closing_target_deg
    )
    return closing, oriented.checks


def chosen_for(
    stored: Sequence[StoredCalibration],
    sweep: Sweep,
    site: Site,
    declination: Declination,
    model: MagneticModel | None = None,
    needed: Sequence[str] = ("compass",),
) -> Chosen:
    """The calibrations that one sweep gets, with the bearing of the closing target."""
    field = field_expected_at(site, date_of(sweep.recording), model)
    about = sweep_about(sweep, site)
    return choose_calibrations(stored, about, declination, field, needed=needed)


def date_of(recording: Recording) -> dt.date:
    """The day it was started; a fixed one where it does not tell."""
    return recording.started.date() if recording.started else UNDATED


def sweep_about(sweep: Sweep, site: Site) -> SweepAbout:
    """What decides which calibration a recording gets; a site stands in for one that it lacks."""
    recording, stream = sweep.recording, sweep.stream
    temperature = stream.samples.temperature_c
    known = temperature[np.isfinite(temperature)]
    serial = stream.identity.serial_number if stream.identity else recording.text("board")
    return SweepAbout(
        started=recording.started,
        serial_number=serial,
        site=place_of(recording, site),
        temperature_c=float(np.median(known)) if known.size else None,
        holder=recording.text("holder"),
        raw=stream.samples.is_raw,
    )


def place_of(recording: Recording, site: Site) -> Site:
    """Where a recording was made, by its header, or the site."""
    latitude, longitude = recording.number("latitude"), recording.number("longitude")
    if latitude is None or longitude is None:
        return site
    return _told_site(recording, latitude, longitude, 0.0)


def _told_site(recording: Recording, latitude: float, longitude: float, altitude: float) -> Site:
    """A site that a recording's header tells, at least in part."""
    try:
        return Site(latitude, longitude, altitude)
    except UsageError as error:
        hint = "the recording's header says so: give --latitude, --longitude and --altitude"
        raise InputError(error.what, str(recording.path), hint) from error


def declination_of(sweep: Sweep, recipe: Recipe) -> Declination:
    """The declination of one sweep: given, by the model, or claimed by the board."""
    if recipe.settings.declination_deg is not None:
        return declination_given(recipe.settings.declination_deg)
    started = sweep.recording.started
    date = recipe.date or (started.date() if started else None)
    found = declination_at(recipe.site, date or UNDATED, recipe.magnetic_model)
    claimed = sweep.stream.samples.variation_deg
    claimed = claimed[np.isfinite(claimed)]
    if found.years_beyond and claimed.size:
        return Declination(float(np.median(claimed)), 1.0, "variation sent by the board")
    if date:
        return found
    return replace(found, source=f"{found.source} (the recording bears no date)")


def _merged(checks: Sequence[Check]) -> tuple[Check, ...]:
    """One check a name where all passed; every failed one is kept."""
    failed = {check.check for check in checks if not check.passed}
    first = {check.check: check for check in reversed(checks) if check.check not in failed}
    return tuple(c for c in checks if not c.passed or first.get(c.check) is c)


def site_of(
    recording: Recording,
    job_site: Site | None,
    latitude_deg: float | None,
    longitude_deg: float | None,
    altitude_m: float | None,
) -> Site:
    """Where a recording was made: what is given, else the job's, else what the header says."""
    Site(latitude_deg or 0.0, longitude_deg or 0.0, altitude_m or 0.0)  # given wrongly: no file's
    if latitude_deg is None and job_site is not None:
        latitude_deg, longitude_deg = job_site.latitude_deg, job_site.longitude_deg
        altitude_m = job_site.altitude_m if altitude_m is None else altitude_m
    if latitude_deg is None:
        latitude_deg, longitude_deg = recording.number("latitude"), recording.number("longitude")
    if altitude_m is None:
        altitude_m = recording.number("elevation_m")
    if latitude_deg is None or longitude_deg is None:
        raise UsageError(
            "neither a job nor the recording tells where the site is",
            str(recording.path),
            hint="give --latitude and --longitude, or --job JOB",
        )
    return _told_site(recording, latitude_deg, longitude_deg, altitude_m or 0.0)
