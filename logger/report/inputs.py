"""What a report is made of: results, and the texts of the people it is for.

Whoever has a survey fills these records; the report knows nothing of folders, boards or sweeps.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from logger.access import PlaneMap
from logger.access.shade import ShadeMap
from logger.checks import NORMAL_95, Check
from logger.horizon import HorizonProfile
from logger.orientation.sight_lines import SightLines
from logger.report.figures import PlaneFigures, Share, plane_figures
from logger.site import Site
from logger.sun_paths import SunPaths


@dataclass(frozen=True)
class SourceFile:
    """A file the figures come from."""

    name: str
    sha256: str  # Of all its bytes, in hex
    remark: str = ""  # Such as "not sealed"; empty where there is nothing to say


@dataclass(frozen=True)
class Picture:
    """A picture, drawn."""

    names: tuple[str, ...]  # What it shows, for its file name
    svg: bytes
    alt: str  # The same in words, for readers that speak


@dataclass(frozen=True, eq=False)
class PointReport:
    """One point."""

    name: str
    profile: HorizonProfile
    planes: tuple[PlaneFigures, ...]  # At least one; the first leads
    checks: tuple[Check, ...] = ()
    shade: ShadeMap | None = None
    sights: tuple[SightLines, ...] = ()  # A recording each, for the picture of the sweep
    tilts: PlaneMap | None = None
    files: tuple[SourceFile, ...] = ()  # Its recordings
    # What makes true north of the compass's, in words: the declination, or what replaced it
    true_north: str = ""
    by_bearing: bool = False  # It is the bearing calibration, in some recording at least
    samples_read: int = 0
    samples_used: int = 0
    rejected: Mapping[str, int] = field(default_factory=dict)  # Unused samples by reason
    photos: tuple[Path, ...] = ()
    notes: tuple[str, ...] = ()  # What a reader must know of this point's figures
    site: Site | None = None  # Where it is, when its place is known apart from the job's
    # Where they were drawn already; else the document draws them
    pictures: tuple[Picture, ...] = ()


@dataclass(frozen=True)
class CalibrationReport:
    """One calibration that was used."""

    purpose: str  # Compass, level or bearing
    date: str = ""
    figures: tuple[tuple[str, str], ...] = ()  # In words, with units
    checks: tuple[Check, ...] = ()
    file: SourceFile | None = None


@dataclass(frozen=True)
class WhatIf:
    """One change tried out, and what it does to a year's solar access."""

    change: str  # What is changed, in words
    point: str
    plane: str
    before: Share
    after: Share


@dataclass(frozen=True, eq=False)
class ReportInput:
    """Everything a report shows."""

    title: str  # The job's name
    site: Site
    points: tuple[PointReport, ...]  # At least one
    made: dt.date  # Of the report; the same input gives the same file
    surveyed: dt.date | None = None
    # ``client``, ``address``, ``surveyor`` and whatever else, in order
    people: Mapping[str, str] = field(default_factory=dict)
    calibrations: tuple[CalibrationReport, ...] = ()
    what_ifs: tuple[WhatIf, ...] = ()
    assumptions: tuple[tuple[str, str], ...] = ()  # Settings behind the figures, in words
    missing: Mapping[str, str] = field(default_factory=dict)  # Points without an answer, and why
    program: str = "horizon-logger"  # Name and version of the program
    paths: SunPaths | None = None  # For points whose pictures were not drawn yet


def point_report(
    document: Mapping[str, Any],
    profile: HorizonProfile,
    *,
    sights: Sequence[SightLines] = (),
    shade: ShadeMap | None = None,
    tilts: PlaneMap | None = None,
    photos: Sequence[Path] = (),
) -> PointReport:
    """A point from its documented result."""
    samples = document.get("samples") or {}
    return PointReport(
        name=str(document.get("point") or ""),
        profile=profile,
        planes=tuple(plane_figures(p) for p in document.get("planes") or ()),
        checks=tuple(Check(**g) for g in document.get("quality") or ()),
        shade=shade,
        sights=tuple(sights),
        tilts=tilts,
        files=tuple(
            SourceFile(
                str(r["file"]),
                str(r["sha256"]),
                "; ".join(r.get("problems", ())),
            )
            for r in document.get("recordings") or ()
        ),
        true_north=true_north(document),
        by_bearing=bool(_bearings(document)),
        samples_read=int(samples.get("read") or 0),
        samples_used=int(samples.get("used") or 0),
        rejected=dict(samples.get("rejected") or {}),
        photos=tuple(photos),
        notes=tuple((document.get("assumptions") or {}).get("notes") or ()),
    )


def true_north(document: Mapping[str, Any]) -> str:
    """What makes true north of the compass's, with its 95 % interval; empty where nothing does."""
    declination = document.get("declination") or {}
    if not declination:
        return ""
    by_model = (
        f"declination {_within(declination['value_deg'], declination['standard_error_deg'])}, "
        f"{declination['source']}"
    )
    bearings = _bearings(document)
    if not bearings:
        return by_model
    told = "; ".join(dict.fromkeys(bearings))
    recordings = len(document["calibrations"])
    if len(bearings) < recordings:
        return f"{told}, in {len(bearings)} of {recordings} recordings; else {by_model}"
    return f"{told}, in place of the {by_model}"


def _bearings(document: Mapping[str, Any]) -> list[str]:
    """The bearing calibration of each recording that has one, in words."""
    return [
        f"bearing calibration "
        f"{_within(used['figures']['heading_deg'], used['figures']['standard_error_deg'])}"
        for recording in document.get("calibrations") or ()
        for used in recording["used"]
        if used["kind"] == "bearing"
    ]


def _within(value_deg: float, standard_error_deg: float) -> str:
    return f"{value_deg:+.2f}° ± {NORMAL_95 * standard_error_deg:.2f}° (95 %)"


def assumptions_of(document: Mapping[str, Any]) -> tuple[tuple[str, str], ...]:
    """The settings behind a documented result, in words."""
    found = document.get("assumptions") or {}
    ground = found.get("ground_reflectance")
    rows = [
        ("year of the sun's positions", found.get("year")),
        ("light", found.get("sky")),
        ("transposition", found.get("transposition")),
        (
            "ground reflectance",
            None
            if not ground
            else f"{ground[0]:g}"
            if len(set(ground)) == 1
            else ", ".join(f"{g:g}" for g in ground) + " by month",
        ),
        ("horizons drawn for the intervals", found.get("draws")),
    ]
    return tuple((what, str(value)) for what, value in rows if value not in (None, ""))
