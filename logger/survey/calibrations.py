"""Calibrations of a job: from a recording to a stored result, and from there to a sweep.

The one place where job folder, decoded recordings and the calibration room meet.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from firmware_protocol import Identity
from logger.access import Plane
from logger.calibration import (
    CalibrationAbout,
    PlaneFix,
    Purpose,
    StoredCalibration,
    fit_bearing_to_sun,
    fit_bearing_to_target,
    fit_compass,
    fit_level,
    fit_plane,
    fit_swing,
    read_calibration,
    stored_from_dict,
)
from logger.calibration.bearing import CLOCK_DOUBT_S
from logger.calibration.choose import SAME_SITE_KM
from logger.checks import Check
from logger.errors import InputError, UsageError, as_argument
from logger.files import file_sha256, plain
from logger.geomagnetism import MagneticModel
from logger.job import Job, calibration_files, calibration_path, set_plane, write_json
from logger.orientation import Declination, field_expected_at
from logger.outputs import write_in_job
from logger.recording import Recording
from logger.recording.samples import Stream, presses
from logger.site import distance_km
from logger.survey.pipeline import chosen_for, declination_of, place_of, sweep_about
from logger.survey.recipe import Recipe, magnetic_model_of
from logger.survey.result import Sweep


@dataclass(frozen=True)
class Wanted:
    """What a calibration command was asked for beside the recording."""

    purpose: Purpose
    holder: str = ""  # What the board is mounted in
    target_deg: float | None = None  # True bearing of the target; None is the sun. [deg]
    bearings_deg: tuple[float, ...] = ()  # True bearings of the targets of a swing, in order. [deg]
    target_is_near: bool = False  # The target of the level is no closing target
    clock_doubt_s: float = CLOCK_DOUBT_S  # [s]


def stored_calibrations(job: Job) -> tuple[StoredCalibration, ...]:
    """The job's calibrations, oldest first."""
    return tuple(read_calibration(path) for path in calibration_files(job))


def is_by_ridge(stored: StoredCalibration) -> bool:
    """Whether a bearing was taken from a sweep of the far ridge: it has no recording of its own."""
    return "ridge_used_deg" in stored.figures


def calibrate(job: Job, recording: Recording, stream: Stream, wanted: Wanted) -> StoredCalibration:
    """Fit what a recording was made for; nothing is stored."""
    away = distance_km(place_of(recording, job.site), job.site)
    if away > SAME_SITE_KM:
        raise InputError(
            f"it was recorded {away:.0f} km from the job's site",
            str(recording.path),
            hint="calibrate at the site: iron, field and temperature are others there",
        )
    _refuse_unusable(recording, stream)
    made_for = recording.text("purpose")
    if made_for and made_for != wanted.purpose:
        raise InputError(
            f"this recording was made for {made_for}, not for {wanted.purpose}",
            str(recording.path),
        )
    started = recording.started
    if started is None:
        raise InputError(
            "the recording does not say when it was made: its age could not be judged later",
            str(recording.path),
        )
    model, sweep = magnetic_model_of(job), Sweep(recording, stream)
    declination = _declination(sweep, job, model)
    samples, kind = stream.samples, str(wanted.purpose)
    raw = samples.is_raw
    fit: Any
    if kind == "compass" and raw:
        fit = fit_compass(samples, field_expected_at(job.site, started.date(), model))
    elif kind == "compass":
        kind, sights = "deviation", _swing_sights(stream, wanted.bearings_deg)
        fit = fit_swing(samples, sights, declination)
    else:
        stored = stored_calibrations(job)
        known = chosen_for(stored, sweep, job.site, declination, model).corrections
        if kind == "level":
            if raw and known.compass is None:
                raise _no_compass(job)
            fit = fit_level(samples, known)
            fit = replace(fit, figures={**fit.figures, "target_is_near": wanted.target_is_near})
        elif wanted.target_deg is not None:
            fit = fit_bearing_to_target(samples, stream.keys, known, wanted.target_deg)
        else:
            doubt_s = max(wanted.clock_doubt_s, _clock_moved_s(stream))
            fit = fit_bearing_to_sun(samples, stream.keys, known, job.site, started, doubt_s)
    about = about_of(recording, stream, job, wanted)
    return StoredCalibration(about, kind, fit.correction, fit.figures, fit.checks)


def _declination(sweep: Sweep, job: Job, model: MagneticModel | None) -> Declination:
    """As the job's sweeps get it, whatever becomes of its weather."""
    return declination_of(sweep, Recipe(job.site, (), job.settings, magnetic_model=model))


def refuse_level_without_compass(job: Job, board: Identity | None) -> None:
    """Refuse a level before it is recorded, as far as the board says what it is."""
    if board is None or "M" not in board.streams:
        return
    about = [stored.about for stored in stored_calibrations(job)]
    if not any((a.purpose, a.serial_number) == ("compass", board.serial_number) for a in about):
        raise _no_compass(job)


def _no_compass(job: Job) -> InputError:
    return InputError(
        "there is no compass calibration of this board here, and the level needs one",
        hint=f"horizon-logger calibrate compass {as_argument(str(job.folder))}",
    )


def keep(job: Job, recording: Recording, stored: StoredCalibration) -> Path:
    """Store a calibration: the recording, if it is not in the job yet, and the result beside it."""
    folder = (job.folder / "calibrations").resolve()
    path = recording.path
    if path.resolve().parent != folder:
        there = (p for p in sorted(folder.glob("*.sweep")) if p.is_file())
        already = next((p for p in there if file_sha256(p) == recording.sha256), None)
        path = already or calibration_path(job, stored.about.purpose, stored.about.made)
        if already is None:
            write_in_job(job.folder, path, recording.path.read_bytes())
    stored = replace(stored, about=replace(stored.about, recording=path.name))
    return store(path.with_suffix(".json"), stored)


def store(path: Path, stored: StoredCalibration) -> Path:
    """Write a calibration; what could not be read again is not stored."""
    told = plain(stored.as_dict())
    stored_from_dict(told, str(path))
    write_json(path, told)
    return path


def about_of(recording: Recording, stream: Stream, job: Job, wanted: Wanted) -> CalibrationAbout:
    """What a calibration's recording says of board, time, place and temperature."""
    identity, started = stream.identity, recording.started
    assert started is not None
    sweep, place = sweep_about(Sweep(recording, stream), job.site), place_of(recording, job.site)
    return CalibrationAbout(
        purpose=wanted.purpose,
        made=started.astimezone(dt.UTC),
        serial_number=sweep.serial_number,
        board=identity.board if identity else "",
        firmware=identity.firmware if identity else "",
        latitude_deg=place.latitude_deg,
        longitude_deg=place.longitude_deg,
        temperature_c=sweep.temperature_c,
        holder=wanted.holder or sweep.holder,
        recording=recording.path.name,
        sha256=recording.sha256,
    )


def _refuse_unusable(recording: Recording, stream: Stream) -> None:
    if len(parts := stream.by_board()) > 1:
        raise InputError(
            f"{len(parts)} boards sent in turn: {stream.boards[1].after(stream.boards[0])}",
            str(recording.path),
            hint="record it again with one board",
        )
    if len(stream.samples):
        return
    what, hint = "holds no measurement", "look what is on the port: horizon-logger ports"
    if stream.unknown:
        what = f"holds {stream.unknown} sentences, none with a heading: another device"
    elif stream.refused:
        what = "holds bytes but no sentence: another speed (ours is 115200) or device"
    raise InputError(what, str(recording.path), hint=hint)


def _swing_sights(stream: Stream, bearings_deg: Sequence[float]) -> list[tuple[float, float]]:
    """When each target was pressed, and its bearing as given."""
    pressed = presses(stream.keys)
    if bearings_deg and len(pressed) != len(bearings_deg):
        raise UsageError(
            f"{len(bearings_deg)} bearings are given, but there are {len(pressed)} presses"
        )
    return list(zip(pressed, bearings_deg, strict=False))


def _clock_moved_s(stream: Stream) -> float:
    """How far the computer's clock was set while recording. [s]"""
    moves = [note.more.get("host_clock_moved_s") for note in stream.notes]
    return float(sum(abs(m) for m in moves if isinstance(m, (int, float))))


def measure_plane(
    job: Job, recording: Recording, stream: Stream, *, along_eaves: bool = False
) -> tuple[PlaneFix, tuple[Check, ...]]:
    """Tilt and azimuth of a surface from a recording, with the job's calibrations."""
    _refuse_unusable(recording, stream)
    model, sweep = magnetic_model_of(job), Sweep(recording, stream)
    chosen = chosen_for(
        stored_calibrations(job),
        sweep,
        job.site,
        _declination(sweep, job, model),
        model,
        needed=("compass",) if stream.samples.is_raw else (),
    )
    fix = fit_plane(stream.samples, chosen.corrections, along_eaves=along_eaves)
    return fix, (*chosen.checks, *fix.checks)


def store_plane(
    job: Job, name: str, fix: PlaneFix, recording: Recording, size_kwp: float | None = None
) -> None:
    """Store a measured surface as a plane of the job, with its uncertainty."""
    before = next((p.size_kwp for p in job.planes if p.name == name), None)
    plane = Plane(
        name, round(fix.tilt_deg, 2), round(fix.azimuth_deg, 2), size_kwp=size_kwp or before
    )
    set_plane(
        job.folder,
        plane,
        tilt_error_deg=round(fix.tilt_error_deg, 2),
        azimuth_error_deg=round(fix.azimuth_error_deg, 2),
        measured_from=recording.path.name,
    )
