"""Results for use elsewhere: a row a month, a plain horizon, points on a map."""

from __future__ import annotations

import re
from collections.abc import Sequence

import numpy as np

from logger.files import json_text
from logger.horizon import HorizonProfile
from logger.report.inputs import PointReport, ReportInput
from logger.report.style import MONTHS
from logger.report.tables import Cell, Column, Table, one_line


def results_table(points: Sequence[PointReport]) -> Table:
    """One row a point, plane and month, and one for the year."""
    rows: list[tuple[Cell, ...]] = []
    for point in points:
        for plane in point.planes:
            solar, beam = plane.solar_access, plane.beam_access
            lead: tuple[Cell, ...] = (point.name, plane.name, plane.tilt_deg, plane.azimuth_deg)
            rows += [
                (
                    *lead,
                    month,
                    float(solar.value[k]),
                    float(solar.low[k]),
                    float(solar.high[k]),
                    float(beam.value[k]),
                    float(beam.low[k]),
                    float(beam.high[k]),
                    float(plane.monthly_loss_kwh_per_m2[k]),
                    float(plane.window_known[k]),
                )
                for k, month in enumerate(MONTHS)
            ]
            rows.append(
                (
                    *lead,
                    "year",
                    solar.year.value,
                    solar.year.low,
                    solar.year.high,
                    beam.year.value,
                    beam.year.low,
                    beam.year.high,
                    plane.loss_kwh_per_m2,
                    None,
                )
            )
    names = (
        ("point", "plane"),
        ("tilt_deg", "azimuth_deg"),
        ("month",),
        (
            "solar_access",
            "solar_access_low",
            "solar_access_high",
            "beam_access",
            "beam_access_low",
            "beam_access_high",
            "loss_kwh_per_m2",
            "window_clear",
        ),
    )
    columns = tuple(
        Column(name, name, decimals=None if kind in (0, 2) else 4)
        for kind, group in enumerate(names)
        for name in group
    )
    return Table("Results", columns, tuple(rows))


def plain_horizon(profile: HorizonProfile, step_deg: float = 1.0) -> str:
    """The horizon as lines of azimuth and elevation, for programs that read no more than that.

    Azimuths that were not measured are left out, and named in comment lines.
    """
    azimuth = np.arange(0.0, 360.0, step_deg)
    known = np.asarray(profile.measured_at(azimuth), dtype=bool)
    elevation = profile.elevation_at(azimuth)
    lines = ["# azimuth, degrees clockwise from true north; elevation, degrees above level"]
    edges = np.flatnonzero(np.diff(np.r_[False, ~known, False].astype(int))).reshape(-1, 2)
    lines += [f"# not measured: {azimuth[a]:g} to {azimuth[b - 1]:g}" for a, b in edges]
    lines += [f"{a:g} {e:.2f}" for a, e in zip(azimuth[known], elevation[known] + 0.0, strict=True)]
    return "\n".join(lines).replace(" -0.00", " 0.00") + "\n"


def points_geojson(report: ReportInput) -> str:
    """The points as GeoJSON (RFC 7946): longitude and latitude on WGS 84.

    The height above sea level is a property: the third coordinate of RFC 7946 would be a height
    above the ellipsoid. Points without a place of their own stand at the site's.
    """
    features = []
    for point in report.points:
        site = point.site or report.site
        features.append(
            {
                "type": "Feature",
                "geometry": {
                    "type": "Point",
                    "coordinates": [site.longitude_deg, site.latitude_deg],
                },
                "properties": {
                    "name": one_line(point.name),
                    "altitude_m": site.altitude_m,
                    "planes": [
                        {
                            "name": one_line(plane.name),
                            "tilt_deg": plane.tilt_deg,
                            "azimuth_deg": plane.azimuth_deg,
                            "solar_access": plane.solar_access.year.value,
                            "solar_access_low": plane.solar_access.year.low,
                            "solar_access_high": plane.solar_access.year.high,
                        }
                        for plane in point.planes
                    ],
                    "quality_checks_passed": all(check.passed for check in point.checks),
                },
            }
        )
    return json_text({"type": "FeatureCollection", "features": features})


def file_stem(*names: str) -> str:
    """A file name from names that people gave: letters, digits, dots and dashes only."""
    parts = (re.sub(r"[^\w.]+", "-", name).strip("-._") for name in names)
    return "-".join(part[:40] for part in parts if part) or "unnamed"
