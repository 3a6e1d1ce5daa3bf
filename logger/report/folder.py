"""What is written of a survey: the document, pictures, tables and exports beside each other."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from logger.files import json_text, write_atomically
from logger.horizon import HorizonProfile
from logger.horizon_csv import horizon_csv
from logger.report import monthly, style
from logger.report.access_charts import monthly_access_chart
from logger.report.document import (
    as_png,
    check_table,
    comparison_table,
    file_table,
    sample_table,
    unused,
    what_if_table,
    write_document,
)
from logger.report.exports import file_stem, plain_horizon, points_geojson, results_table
from logger.report.figures import plane_figures
from logger.report.inputs import PointReport, ReportInput
from logger.report.sky_charts import sun_path_chart
from logger.report.tables import Table, as_csv
from logger.site import Site
from logger.sun_paths import sun_paths

PICTURES, TABLES = "pictures", "tables"


def write_report(
    report: ReportInput, output: Path, *, paper: str = "a4", beside: Path | None = None
) -> list[Path]:
    """Write the document, and on demand every picture and table of it and the exports."""
    document = write_document(report, paper)
    write_atomically(output, document.pdf)
    if beside is None:
        return [output]
    texts: dict[str, str] = {
        f"{TABLES}/{stem}.csv": as_csv(table) for stem, table in all_tables(report).items()
    }
    texts["results.csv"] = as_csv(results_table(report.points))
    texts["points.geojson"] = points_geojson(report)
    for stem, point in stems(report).items():
        texts[f"horizons/{stem}.csv"] = horizon_csv(point.profile)
        texts[f"horizons/{stem}.txt"] = plain_horizon(point.profile)
    return [
        output,
        *_write_pictures(beside / PICTURES, document.pictures),
        *_write_texts(beside, texts),
    ]


def stems(report: ReportInput) -> dict[str, PointReport]:
    """A file name without suffix for each point, no two alike."""
    found: dict[str, PointReport] = {}
    for point in report.points:
        found[unused(file_stem(point.name), list(found))] = point
    return found


def all_tables(report: ReportInput) -> dict[str, Table]:
    """Every table of the document, by file name without suffix."""
    tables = {
        "year": monthly.summary_table([(p.name, p.planes) for p in report.points]),
        "checks": check_table(report),
        "samples": sample_table(report),
        "files": file_table(report),
    }
    if len(report.points) > 1:
        tables["points-compared"] = comparison_table(report)
    if report.what_ifs:
        tables["what-if"] = what_if_table(report)
    rules = monthly.rule_table([(p.name, p.planes) for p in report.points])
    if rules.rows:
        tables["rules"] = rules
    for stem, point in stems(report).items():
        for plane in point.planes:
            tables[_new(tables, stem, "months", plane.name)] = monthly.monthly_table(plane)
        if any(plane.by_obstruction for plane in point.planes):
            name = _new(tables, stem, "obstructions")
            tables[name] = monthly.obstruction_table(point.planes)
        if any(plane.blocked for plane in point.planes):
            tables[_new(tables, stem, "window")] = monthly.blocked_table(point.planes)
    return tables


def _new(taken: Iterable[str], stem: str, *names: str) -> str:
    """A file name that no other has yet: what is in it stands behind the point's whole name."""
    return unused(f"{stem}-{file_stem(*names)}", list(taken))


def write_point(
    folder: Path, document: Mapping[str, Any], profile: HorizonProfile, site: Site
) -> list[Path]:
    """Write a point's charts (PNG and SVG), monthly tables, horizon and result."""
    point = str(document["point"])
    stem = file_stem(point)
    planes = [plane_figures(p) for p in document["planes"]]
    year = int(document["assumptions"]["year"])
    pictures = {
        f"{stem}-sun-paths": style.svg(sun_path_chart(sun_paths(site, year), profile, point)),
        f"{stem}-months": style.svg(monthly_access_chart(planes, point)),
    }
    texts = {f"{stem}-horizon.csv": horizon_csv(profile), f"{stem}.json": json_text(document)}
    for plane in planes:
        names = ["months"] if len(planes) == 1 else ["months", plane.name]
        name = _new((t.removesuffix(".csv") for t in texts), stem, *names)
        texts[f"{name}.csv"] = as_csv(monthly.monthly_table(plane, point))
    return [*_write_pictures(folder, pictures), *_write_texts(folder, texts)]


def _write_pictures(folder: Path, pictures: Mapping[str, bytes]) -> list[Path]:
    drawn = as_png(pictures)
    files = {f"{stem}.png": png for stem, png in drawn.items()}
    files |= {f"{stem}.svg": svg for stem, svg in pictures.items()}
    for name, content in files.items():
        write_atomically(folder / name, content)
    return [folder / name for name in sorted(files)]


def _write_texts(folder: Path, texts: Mapping[str, str]) -> list[Path]:
    for name, text in texts.items():
        write_atomically(folder / name, text)
    return [folder / name for name in texts]
