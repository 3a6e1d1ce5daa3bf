"""Calibrations as they are stored beside their recordings, and which of them a sweep gets.

A result is a small plain dict: what was corrected and by how much, the figures and checks that
prove it, and all that decides later whether it fits: the board's serial number, time, site,
temperature and holder. Nothing is silently used for another board, site or holder.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

from logger import __version__
from logger.checks import NORMAL_95, Check
from logger.errors import InputError
from logger.orientation import Corrections, Declination, FieldReference, correction_from_dict

SCHEMA = "horizon-logger calibration 1"
PURPOSES = ("compass", "level", "bearing")
KINDS = {"compass": ("compass", "deviation"), "level": ("level",), "bearing": ("bearing",)}
"""Which kinds of correction each purpose may hold."""
SAME_SITE_KM = 5.0
TEMPERATURE_LIMIT_C = 15.0


@dataclass(frozen=True)
class CalibrationAbout:
    """What a calibration was made with, where and when."""

    purpose: str  # Compass, level or bearing
    made: str  # UTC, ISO 8601 with Z: when the recording was started
    serial_number: str = ""  # Of the board; empty for boards that do not tell
    board: str = ""
    firmware: str = ""
    # [deg]
    latitude_deg: float | None = None
    longitude_deg: float | None = None
    temperature_c: float | None = None  # [degC]
    holder: str = ""  # What the board is mounted in; empty where nobody said
    # File name and hash of the recording it comes from
    recording: str = ""
    sha256: str = ""
    program: str = f"horizon-logger {__version__}"

    @property
    def made_at(self) -> dt.datetime:
        """`made` as a moment. Raises InputError where it is none."""
        return _moment(self.made)


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
        """Plain dict, ready for JSON."""
        about = asdict(self.about)
        recording = {"file": about.pop("recording"), "sha256": about.pop("sha256")}
        return {
            "schema": SCHEMA,
            **about,
            "recording": recording,
            "kind": self.kind,
            "correction": asdict(self.correction),
            "figures": dict(self.figures),
            "quality": [check.as_dict() for check in self.checks],
        }


def stored_from_dict(plain: Mapping[str, Any], file: str = "") -> StoredCalibration:
    """The inverse of `StoredCalibration.as_dict`; keys not known are ignored."""
    if plain.get("schema") != SCHEMA:
        raise InputError(
            f"holds no calibration that this program reads (schema {plain.get('schema')!r})", file
        )
    try:
        recording = plain.get("recording") or {}
        known = CalibrationAbout.__dataclass_fields__
        about = CalibrationAbout(
            **{k: v for k, v in plain.items() if k in known and k not in ("recording", "sha256")},
            recording=str(recording.get("file", "")),
            sha256=str(recording.get("sha256", "")),
        )
        kind = str(plain["kind"])
        if about.purpose not in KINDS or kind not in KINDS[about.purpose]:
            raise ValueError(f"a {about.purpose} calibration cannot hold a correction of {kind!r}")
        about.made_at  # noqa: B018 - raises where it is no moment
        return StoredCalibration(
            about,
            kind,
            correction_from_dict(kind, plain["correction"]),
            dict(plain.get("figures") or {}),
            tuple(Check(**check) for check in plain.get("quality") or ()),
            file,
        )
    except InputError as error:
        raise InputError(error.what, file) from error
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        raise InputError(f"is no whole calibration: {error}", file) from error


@dataclass(frozen=True)
class SweepAbout:
    """What decides which calibration a sweep gets."""

    started: dt.datetime | None  # UTC
    serial_number: str = ""
    # [deg]
    latitude_deg: float | None = None
    longitude_deg: float | None = None
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

        A landmark given to the bearing calibration is it; else the mark that the level was
        sighted on, if it was called far. [deg].
        """
        for stored in self.used:
            target = stored.figures.get("target_deg")
            if stored.kind == "bearing" and isinstance(target, (int, float)):
                return float(target)
        for stored in self.used:
            mark = stored.figures.get("mark_azimuth_deg")
            near = stored.figures.get("mark_is_near", False)
            if stored.kind == "level" and isinstance(mark, (int, float)) and not near:
                return float(mark)
        return None


def choose_calibrations(
    stored: Iterable[StoredCalibration],
    sweep: SweepAbout,
    declination: Declination,
    field: FieldReference | None = None,
    *,
    needed: Sequence[str] = ("compass",),
    max_age_h: float | None = None,
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
        best = _newest(fitting, sweep.started)
        if best is None:
            if purpose in needed:
                checks.append(_missing(purpose, mine, sweep))
            continue
        corrections = replace(corrections, **{best.kind: best.correction})
        checks.append(_judge(best, used, sweep, max_age_h))
        used.append(best)
    return Chosen(corrections, tuple(used), tuple(checks))


def _newest(
    fitting: Sequence[StoredCalibration], started: dt.datetime | None
) -> StoredCalibration | None:
    if not fitting:
        return None
    before = [s for s in fitting if started is None or s.about.made_at <= started]
    if before:
        return max(before, key=lambda s: s.about.made_at)
    return min(fitting, key=lambda s: s.about.made_at)


def _same_board(stored: StoredCalibration, sweep: SweepAbout) -> bool:
    """Boards that tell no serial number are taken for the same among themselves."""
    return stored.about.serial_number == sweep.serial_number


def _same_site(stored: StoredCalibration, sweep: SweepAbout) -> bool:
    about = stored.about
    if None in (about.latitude_deg, about.longitude_deg, sweep.latitude_deg, sweep.longitude_deg):
        return True
    return distance_km(about, sweep) <= SAME_SITE_KM


def distance_km(a: CalibrationAbout | SweepAbout, b: CalibrationAbout | SweepAbout) -> float:
    """Between two places on a sphere of 6371 km, by the haversine formula. [km]."""
    assert a.latitude_deg is not None
    assert a.longitude_deg is not None
    assert b.latitude_deg is not None
    assert b.longitude_deg is not None
    p, q = math.radians(a.latitude_deg), math.radians(b.latitude_deg)
    turn = math.radians(b.longitude_deg - a.longitude_deg)
    h = math.sin((q - p) / 2) ** 2 + math.cos(p) * math.cos(q) * math.sin(turn / 2) ** 2
    return 2 * 6371.0 * math.asin(math.sqrt(min(h, 1.0)))


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
    stored: StoredCalibration,
    used: Sequence[StoredCalibration],
    sweep: SweepAbout,
    max_age_h: float | None,
) -> Check:
    about = stored.about
    age_h = _age_h(about, sweep)
    faults = [f"poor: {check.why}" for check in stored.checks if not check.passed]
    limit: float | None = max_age_h
    if age_h is not None and _stale(about, sweep, age_h, max_age_h):
        allowed = f"{max_age_h:g} h" if max_age_h is not None else "the day of the sweep"
        faults.append(f"stale: {_age_words(age_h)} away from the sweep, allowed is {allowed}")
    if about.temperature_c is not None and sweep.temperature_c is not None:
        change = sweep.temperature_c - about.temperature_c
        if abs(change) > TEMPERATURE_LIMIT_C:
            faults.append(f"the board was {change:+.0f} °C from where it is now")
    holders = about.holder.strip().lower(), sweep.holder.strip().lower()
    if all(holders) and holders[0] != holders[1]:
        faults.append(f"the board was held in {about.holder}, not {sweep.holder}")
    if about.purpose == "bearing" and any(
        s.about.purpose == "compass" and s.about.made_at > about.made_at for s in used
    ):
        faults.append("it was taken before the compass calibration in use")
    name = stored.file or about.recording or "unnamed"
    why = f"{name}, {_age_words(age_h)} {_figures(stored)}"
    if faults:
        why += "; " + "; ".join(faults) + "; calibrate again"
    return Check(
        f"{about.purpose} calibration",
        not faults,
        None if age_h is None else round(age_h, 2),
        limit,
        "h",
        why,
    )


def _age_h(about: CalibrationAbout, sweep: SweepAbout) -> float | None:
    if sweep.started is None:
        return None
    return (sweep.started - about.made_at).total_seconds() / 3600


def _stale(
    about: CalibrationAbout, sweep: SweepAbout, age_h: float, max_age_h: float | None
) -> bool:
    if max_age_h is not None:
        return abs(age_h) > max_age_h
    assert sweep.started is not None
    same_day = sweep.started.astimezone(dt.UTC).date() == about.made_at.date()
    # A survey may run past midnight UTC in many a time zone.
    return not same_day and abs(age_h) > 12.0


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
    return f"{c.residual_deg:+.2f}° beside the declination, good to {good_to}"


def _moment(text: str) -> dt.datetime:
    try:
        moment = dt.datetime.fromisoformat(text)
    except (TypeError, ValueError) as error:
        raise InputError(f"{text!r} is no moment in time") from error
    return moment if moment.tzinfo else moment.replace(tzinfo=dt.UTC)
