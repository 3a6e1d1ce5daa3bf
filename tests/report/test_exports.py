"""What leaves the program for others: plain horizons, GeoJSON, one CSV of all results, folders."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from logger.horizon import HorizonProfile
from logger.horizon_csv import read_horizon_csv
from logger.report import exports, folder
from logger.report.tables import as_csv
from logger.site import Site


def test_the_results_hold_every_month_of_every_plane(report):
    rows = list(csv.DictReader(io.StringIO(as_csv(exports.results_table(report.points)))))
    assert len(rows) == 13
    assert [r["month"] for r in rows][:2] == ["Jan", "Feb"]
    assert rows[0]["solar_access"] == ""
    assert float(rows[12]["solar_access"]) == pytest.approx(0.873)
    assert float(rows[12]["solar_access_low"]) == pytest.approx(0.833)


def test_a_plain_horizon_is_azimuth_and_elevation_and_nothing_invented():
    azimuth = np.arange(0.0, 360.0, 10.0)
    elevation = np.where(azimuth < 300, azimuth / 10, np.nan)
    text = exports.plain_horizon(HorizonProfile(azimuth, elevation))
    lines = text.splitlines()
    numbers = [tuple(map(float, line.split())) for line in lines if not line.startswith("#")]
    assert (45.0, 4.5) in numbers
    assert max(a for a, _ in numbers) == 290
    assert "# not measured: 291 to 359" in lines


def test_the_points_are_geojson_as_rfc_7946_has_it(report):
    # RFC 7946: 3.1.1 longitude before latitude; 4 no other reference system; 3.2 a feature has
    # geometry and properties.
    placed = replace(report, points=(replace(report.points[0], site=Site(-35.0, 179.5, 12.0)),))
    made = json.loads(exports.points_geojson(placed))
    assert made["type"] == "FeatureCollection"
    (feature,) = made["features"]
    assert feature["type"] == "Feature"
    assert feature["geometry"] == {"type": "Point", "coordinates": [179.5, -35.0]}
    assert feature["properties"]["name"] == "north eave"
    assert feature["properties"]["planes"][0]["solar_access"] == 0.873
    assert "crs" not in made


@pytest.mark.parametrize(
    ("name", "stem"),
    [("north eave", "north-eave"), ("../../etc/passwd", "etc-passwd"), ("=1+1", "1-1"),
     ("***", "unnamed"), ("Süd", "Süd"), ("a\\b:c", "a-b-c")],
)  # fmt: skip
def test_a_name_makes_a_file_name_and_nothing_more(name, stem):
    assert exports.file_stem(name) == stem


def test_everything_is_written_beside_the_document(report, point_of, result_plane, tmp_path):
    twice = replace(report, points=(point_of(result_plane), point_of(result_plane, "North Eave")))
    written = folder.write_report(twice, tmp_path / "r" / "report.pdf", beside=tmp_path / "r")
    names = {str(p.relative_to(tmp_path / "r")) for p in written}
    assert len(names) == len(written)
    assert {"report.pdf", "results.csv", "points.geojson", "tables/year.csv"} <= names
    # Two names that some file systems cannot tell apart.
    assert {"horizons/north-eave.csv", "horizons/North-Eave-2.csv"} <= names
    for stem in ("sun-paths", "months", "obstructions"):
        assert {f"pictures/north-eave-{stem}.svg", f"pictures/north-eave-{stem}.png"} <= names
    assert all(p.stat().st_size > 0 for p in written)
    back = read_horizon_csv(tmp_path / "r" / "horizons" / "north-eave.csv")
    np.testing.assert_allclose(back.elevation_deg, report.points[0].profile.elevation_deg)


def test_every_table_of_the_document_is_a_csv_with_inert_text(report):
    for table in folder.all_tables(report).values():
        rows = list(csv.reader(io.StringIO(as_csv(table))))
        assert len(rows) == len(table.rows) + 1
        texts = [c for row in rows for c in row if not _is_number(c)]
        assert not any(c.lstrip()[:1] in ("=", "+", "-", "@") for c in texts)


def test_a_tables_file_tells_what_is_in_it_however_long_the_name(report, point_of, result_plane):
    long = point_of(result_plane, "third bay from the left over the workshop, behind the chimney")
    stem = exports.file_stem(long.name)
    names = set(folder.all_tables(replace(report, points=(long,))))
    assert {f"{stem}-months-roof", f"{stem}-obstructions", f"{stem}-window"} <= names


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True


def test_the_document_alone_can_be_had(report, tmp_path):
    assert folder.write_report(report, tmp_path / "only.pdf") == [tmp_path / "only.pdf"]
    assert [p.name for p in Path(tmp_path).iterdir()] == ["only.pdf"]
