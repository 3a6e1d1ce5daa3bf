"""Calibrations as they are stored beside their recordings, and which of them a sweep gets.

A result is a small plain dict: what was corrected and by how much, the figures and checks that
prove it, and all that decides later whether it fits: the board's serial number, time, site,
temperature and holder. Nothing is silently used for another board, site or holder.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, fields, replace
from pathlib import Path
from typing import Annotated, Any, Literal, get_args

from logger import __version__
from logger.checks import NORMAL_95, Check
from logger.errors import InputError
from logger.files import read_json
from logger.orientation import (
    CORRECTIONS,
    Corrections,
    Declination,
    FieldReference,
    model_years_check,
)
from logger.site import Site, distance_km
from logger.structured import Within, record_from, sha256_text, utc_text, value_from

SCHEMA = "horizon-logger calibration 1"
COEFFICIENTS = "coefficients_deg"
COLUMNS = ("sun_azimuth_deg", "sun_elevation_deg", "compass_heading_deg", "deviation_deg")
TRUE_OR_FALSE = ("with_gyro", "target_is_near")  # Figures that are not one number
Purpose = Literal["compass", "level", "bearing"]
PURPOSES: tuple[Purpose, ...] = get_args(Purpose)
# Which kinds of correction each purpose may hold
KINDS = {"compass": ("compass", "deviation"), "level": ("level",), "bearing": ("bearing",)}
# Figures of each kind of correction that more is made of than print; of several, one
NEEDED: dict[str, tuple[tuple[str, ...], ...]] = {
    "compass": (("heading_error_95_deg",),),
    "deviation": ((COEFFICIENTS,),),
    "level": (("target_azimuth_deg",), ("target_is_near",)),
    "bearing": (("target_deg", "sun_azimuth_deg", "ridge_used_deg"),),
}
SAME_SITE_KM = 5.0
TEMPERATURE_LIMIT_C = 15.0
LARGEST_FILE = 2**20


@dataclass(frozen=True, kw_only=True)
class CalibrationAbout:
    """What a calibration was made with, where and when."""

    purpose: Purpose
    made: dt.datetime  # When the recording was started
    serial_number: str = ""  # Of the board; empty for boards that do not tell
    board: str = ""
    firmware: str = ""
    latitude_deg: float
    longitude_deg: float
    temperature_c: float | None = None
    holder: str = ""  # What the board is mounted in; empty where nobody said
    # File name and hash of the recording it comes from
    recording: str = ""
    sha256: str = ""
    program: str = f"horizon-logger {__version__}"


@dataclass(frozen=True)
class StoredCalibration:
    """One calibration as the job holds it."""

    about: CalibrationAbout
    kind: str  # Of the correction: compass, deviation, level or bearing
    correction: Any
    figures: Mapping[str, Any]
    checks: tuple[Check, ...] = ()
    file: str = ""  # Name of the JSON file; empty before it has one

    def as_dict(self) -> dict[str, Any]:
        """Plain dict, ready for JSON; figures that are not known are left out."""
        about = asdict(self.about)
        recording = {"file": about.pop("recording"), "sha256": about.pop("sha256")}
        return {
            "schema": SCHEMA,
            **about,
            "made": utc_text(self.about.made, "milliseconds"),
            "recording": recording,
            "kind": self.kind,
            "correction": asdict(self.correction),
            "figures": {key: value for key, value in self.figures.items() if value is not None},
            "quality": [check.as_dict() for check in self.checks],
        }


@dataclass(frozen=True)
class _Source:
    file: str
    sha256: Annotated[str, sha256_text]


@dataclass(frozen=True)
class _Held:
    """What a file holds beside `CalibrationAbout`."""

    schema: Literal["horizon-logger calibration 1"]
    recording: _Source
    kind: Literal["compass", "deviation", "level", "bearing"]
    correction: Mapping[str, Any]
    figures: Mapping[str, Any]
    quality: Annotated[tuple[Check, ...], Within(1, 50)]


def read_calibration(path: Path) -> StoredCalibration:
    """A stored calibration; InputError names file, key and value, and what would do."""
    return stored_from_dict(read_json(path, LARGEST_FILE, "calibration"), str(path))


def stored_from_dict(plain: Mapping[str, Any], file: str = "") -> StoredCalibration:
    """The inverse of `StoredCalibration.as_dict`: nothing may be missing, and nothing more."""
    beside = {one.name for one in fields(_Held)}
    try:
        held = record_from(_Held, {k: plain[k] for k in beside & set(plain)}, file, complete=True)
        rest = {key: value for key, value in plain.items() if key not in beside}
        rest |= {"recording": held.recording.file, "sha256": held.recording.sha256}
        about = record_from(CalibrationAbout, rest, file, complete=True)
        if held.kind not in KINDS[about.purpose]:
            what = f"a {about.purpose} calibration cannot hold a correction of kind {held.kind!r}"
            raise InputError(what, file, " or ".join(KINDS[about.purpose]))
        correction = record_from(
            CORRECTIONS[held.kind], held.correction, f"{file}: correction", complete=True
        )
        for names in NEEDED[held.kind]:
            if not set(names) & set(held.figures):
                raise InputError(f"figures: {names[0]} is missing", file, "a number")
        figures = {
            key: value_from(_figure_kind(key), value, key, f"{file}: figures")
            for key, value in held.figures.items()
        }
    except InputError as error:
        hint = f"{error.hint}; or delete the file and calibrate again"
        raise InputError(error.what, error.where, hint) from error
    return StoredCalibration(about, held.kind, correction, figures, held.quality, Path(file).name)


def _figure_kind(key: str) -> Any:
    if key in TRUE_OR_FALSE:
        return bool
    if key == COEFFICIENTS:
        return Mapping[str, Annotated[float, Within(-360.0, 360.0)]]
    return tuple[float, ...] if key in COLUMNS else float


@dataclass(frozen=True)
class SweepAbout:
    """What decides which calibration a sweep gets."""

    started: dt.datetime | None  # UTC
    serial_number: str = ""
    site: Site | None = None  # None: anywhere
    temperature_c: float | None = None  # [degC]
    holder: str = ""
    # The board sends raw field and force: a tumble serves it, else a deviation curve
    raw: bool = True


@dataclass(frozen=True)
class Chosen:
    """The corrections that a sweep gets, which calibrations they are, and how they are judged."""

    corrections: Corrections
    used: tuple[StoredCalibration, ...]
    checks: tuple[Check, ...]

    @property
    def closing_target_deg(self) -> float | None:
        """True bearing of the closing target, as calibrated; None where it was not.

        A target given to the bearing calibration is it; else the one that the level was sighted
        on, unless it was called near. [deg]
        """
        figures = {stored.kind: stored.figures for stored in self.used}
        given, level = figures.get("bearing", {}).get("target_deg"), figures.get("level", {})
        far = None if level.get("target_is_near") else level.get("target_azimuth_deg")
        return far if given is None else given


def choose_calibrations(
    stored: Iterable[StoredCalibration],
    sweep: SweepAbout,
    declination: Declination,
    field: FieldReference | None = None,
    *,
    needed: Sequence[str] = ("compass",),
) -> Chosen:
    """The newest calibration of each purpose that fits a sweep's board, site and time.

    One made after the sweep counts as well if none was made before it. A calibration of another
    board or another site is never used. What is used but stale, poor, of another temperature or
    holder fails its check and says so.
    """
    corrections = Corrections(declination, field=field)
    used: list[StoredCalibration] = []
    checks: list[Check] = []
    every = list(stored)
    for purpose in PURPOSES:
        unfit = "deviation" if sweep.raw else "compass"
        mine = [s for s in every if s.about.purpose == purpose and s.kind != unfit]
        fitting = [s for s in mine if _same_board(s, sweep) and _same_site(s, sweep)]
        before = [s for s in fitting if sweep.started is None or s.about.made <= sweep.started]
        best = max(before, key=_made) if before else min(fitting, key=_made, default=None)
        if best is None:
            if purpose in needed:
                checks.append(_missing(purpose, mine, sweep))
            continue
        corrections = replace(corrections, **{best.kind: best.correction})
        checks.append(_judge(best, used, sweep))
        used.append(best)
    if declination.years_beyond and corrections.bearing is None:
        checks.append(model_years_check(declination))
    return Chosen(corrections, tuple(used), tuple(checks))


def _made(stored: StoredCalibration) -> dt.datetime:
    return stored.about.made


def _same_board(stored: StoredCalibration, sweep: SweepAbout) -> bool:
    """Boards that tell no serial number are taken for the same among themselves."""
    return stored.about.serial_number == sweep.serial_number


def _same_site(stored: StoredCalibration, sweep: SweepAbout) -> bool:
    made = Site(stored.about.latitude_deg, stored.about.longitude_deg)
    return sweep.site is None or distance_km(made, sweep.site) <= SAME_SITE_KM


def _missing(purpose: str, mine: Sequence[StoredCalibration], sweep: SweepAbout) -> Check:
    if not mine:
        why = f"there is no {purpose} calibration"
    elif not any(_same_board(s, sweep) for s in mine):
        boards = ", ".join(sorted({s.about.serial_number or "unknown" for s in mine}))
        why = (
            f"the {purpose} calibrations are of other boards ({boards}), this sweep is of "
            f"{sweep.serial_number or 'an unknown one'}"
        )
    else:
        why = f"the {purpose} calibrations were made at another site"
    why += f"; on the ground, before going up: horizon-logger calibrate {purpose} JOB"
    return Check(f"{purpose} calibration", False, None, None, "", why)


def _judge(
    stored: StoredCalibration, used: Sequence[StoredCalibration], sweep: SweepAbout
) -> Check:
    about = stored.about
    started = sweep.started
    age_h = (started - about.made).total_seconds() / 3600 if started else None
    faults = [f"poor: {check.why}" for check in stored.checks if not check.passed]
    if age_h is not None and started is not None:
        same_day = started.astimezone(dt.UTC).date() == about.made.date()
        # A survey may run past midnight UTC in many a time zone.
        if not same_day and abs(age_h) > 12.0:
            allowed = "allowed is the day of the sweep"
            faults.append(f"stale: {_age_words(age_h)} away from the sweep, {allowed}")
    if about.temperature_c is not None and sweep.temperature_c is not None:
        change = sweep.temperature_c - about.temperature_c
        if abs(change) > TEMPERATURE_LIMIT_C:
            faults.append(f"the board was {change:+.0f} °C from where it is now")
    holders = about.holder.strip().lower(), sweep.holder.strip().lower()
    if all(holders) and holders[0] != holders[1]:
        faults.append(f"the board was held in {about.holder}, not {sweep.holder}")
    if about.purpose == "bearing" and any(
        s.about.purpose == "compass" and s.about.made > about.made for s in used
    ):
        faults.append("it was taken before the compass calibration in use")
    name = stored.file or about.recording or "unnamed"
    why = f"{name}, {_age_words(age_h)} {_figures(stored)}"
    if faults:
        why += "; " + "; ".join(faults) + "; calibrate again"
    age = None if age_h is None else round(age_h, 2)
    return Check(f"{about.purpose} calibration", not faults, age, None, "h", why)


def _age_words(age_h: float | None) -> str:
    if age_h is None:
        return "of unknown age,"
    size = abs(age_h)
    amount = f"{60 * size:.0f} min" if size < 2 else f"{size:.0f} h"
    if size >= 48:
        amount = f"{size / 24:.0f} days"
    return f"{amount} {'before' if age_h >= 0 else 'after'} the sweep,"


def _figures(stored: StoredCalibration) -> str:
    c = stored.correction
    if stored.kind == "compass":
        return f"heading good to {stored.figures.get('heading_error_95_deg', math.nan):.2f}° (95 %)"
    if stored.kind == "deviation":
        return f"deviation curve good to {NORMAL_95 * c.standard_error_deg:.2f}° (95 %)"
    if stored.kind == "level":
        return f"index {c.index_deg:+.2f}°, collimation {c.collimation_deg:+.2f}°"
    good_to = f"{NORMAL_95 * c.standard_error_deg:.2f}° (95 %)"
    return f"after declination the compass is still {c.residual_deg:+.2f}° off, good to {good_to}"
