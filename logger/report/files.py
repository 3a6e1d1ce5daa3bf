"""What is written of a survey: the document, and the folder of tables beside it."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from itertools import count
from pathlib import Path

import numpy as np

from logger.access import PlaneResult, carried
from logger.access.result import YEAR
from logger.files import json_text
from logger.horizon import HorizonProfile
from logger.horizon_csv import horizon_csv
from logger.job import Job, point_names
from logger.outputs import write_output
from logger.report import survey_csv as tables
from logger.report.charts import drawn
from logger.report.content import Report, figures_of, shade_of
from logger.report.language import Words
from logger.report.tables import one_line
from logger.site import moved
from logger.survey.positions import position_of
from logger.survey.result import PointResult


def write_tables(report: Report, folder: Path) -> list[Path]:
    """Every table of the survey as CSV, horizons, pictures, and the points on a map."""
    points = report.points
    files: dict[str, str | bytes] = {
        "results.csv": tables.results_csv(points),
        "planes.csv": tables.planes_csv(points),
        "obstructions.csv": tables.obstructions_csv(points),
        "blocked.csv": tables.blocked_csv(points),
        "shade.csv": tables.shade_csv((p.name, report.beside[p.name].shade) for p in points),
        "rules.csv": tables.rules_csv(points),
        "checks.csv": tables.checks_csv(points),
        "files.csv": tables.files_csv(points),
    }
    places = {p.name: at for p in points if (at := place_of(report.job, p)) is not None}
    if len(places) == len(points):
        files["points.geojson"] = points_geojson(points, places)
    for stem, point in stems(points).items():
        files[f"horizons/{stem}.csv"] = horizon_csv(point.horizon.profile)
        files[f"horizons/{stem}.txt"] = plain_horizon(carried(point.horizon.profile))
        for kind, svg in report.beside[point.name].pictures.items():
            files[f"pictures/{stem}-{kind}.svg"] = svg
    return _written(folder, files)


def write_point(folder: Path, result: PointResult) -> list[Path]:
    """A point's pictures (PNG and SVG), tables of its planes, horizon and answer."""
    stem = file_stem(result.name)
    files: dict[str, str | bytes] = {
        f"{stem}-results.csv": tables.results_csv([result]),
        f"{stem}-horizon.csv": horizon_csv(result.horizon.profile),
        f"{stem}.json": json_text(result.as_dict()),
    }
    for kind, figure in figures_of(result, shade_of(result), Words()).items():
        for ending in ("png", "svg"):
            files[f"{stem}-{kind}.{ending}"] = drawn(figure, ending)
    return _written(folder, files)


def _written(folder: Path, files: Mapping[str, str | bytes]) -> list[Path]:
    for name, content in files.items():
        write_output(folder / name, content)
    return [folder / name for name in files]


def stems(points: Iterable[PointResult]) -> dict[str, PointResult]:
    """A file name without suffix for each point, no two alike."""
    found: dict[str, PointResult] = {}
    for point in points:
        stem = file_stem(point.name)
        known = {name.casefold() for name in found}  # some file systems do not tell A from a
        numbered = (stem if k == 1 else f"{stem}-{k}" for k in count(1))
        found[next(name for name in numbered if name.casefold() not in known)] = point
    return found


def file_stem(name: str) -> str:
    """A file name from a name that people gave: letters, digits, dots and dashes only."""
    return re.sub(r"[^\w.]+", "-", name).strip("-._")[:60] or "unnamed"


def plain_horizon(profile: HorizonProfile) -> str:
    """The horizon as lines of azimuth and elevation, for programs that read no more than that.

    Azimuths that were not measured are left out, and named in comment lines.
    """
    azimuth = np.arange(360.0)
    known = np.asarray(profile.measured_at(azimuth), dtype=bool)
    elevation = profile.elevation_at(azimuth)
    lines = ["# azimuth, degrees clockwise from true north; elevation, degrees above level"]
    edges = np.flatnonzero(np.diff(np.r_[False, ~known, False].astype(int))).reshape(-1, 2)
    lines += [f"# not measured: {azimuth[a]:g} to {azimuth[b - 1]:g}" for a, b in edges]
    lines += [f"{a:g} {e:.2f}" for a, e in zip(azimuth[known], elevation[known] + 0.0, strict=True)]
    return "\n".join(lines).replace(" -0.00", " 0.00") + "\n"


def place_of(job: Job, point: PointResult) -> tuple[float, float] | None:
    """Longitude and latitude of a point: the site's with its metres from there added.

    None of a point without a position, unless it is the job's only one.
    """
    site, position = point.site, position_of(job, point.name, point.recordings)
    if position is None:
        return (site.longitude_deg, site.latitude_deg) if len(point_names(job)) < 2 else None
    latitude, longitude = moved(site, float(position[0][0]), float(position[0][1]))
    return longitude, latitude


def points_geojson(points: Iterable[PointResult], places: Mapping[str, tuple[float, float]]) -> str:
    """The points as GeoJSON (RFC 7946), each at its longitude and latitude on WGS 84.

    The height above sea level is a property: the third coordinate of RFC 7946 would be a height
    above the ellipsoid.
    """
    features = [
        {
            "type": "Feature",
            "geometry": {
                "type": "Point",
                "coordinates": [round(degrees, 8) for degrees in places[point.name]],
            },
            "properties": {
                "name": one_line(point.name),
                "altitude_m": point.site.altitude_m,
                "sky": point.access.sky,
                "planes": [_on_the_map(plane) for plane in point.access.planes],
                "quality_checks_passed": all(check.passed for check in point.checks),
            },
        }
        for point in points
    ]
    return json_text({"type": "FeatureCollection", "features": features})


def _on_the_map(p: PlaneResult) -> dict[str, str | float]:
    year = [float(getattr(p.solar_access, end)[YEAR]) for end in tables.ENDS]
    return {
        "name": one_line(p.plane.name),
        "tilt_deg": p.plane.tilt_deg,
        "azimuth_deg": p.plane.azimuth_deg,
        **dict(zip(tables.ends_named("solar_access"), year, strict=True)),
    }
