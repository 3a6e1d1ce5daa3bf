"""What leaves the program for others: tables of a whole survey, plain horizons, a map."""

from __future__ import annotations

import csv
import io
import json
import math
from dataclasses import replace

import numpy as np
import pytest

from logger.access import Verdict
from logger.access.result import Energy
from logger.horizon import HorizonProfile, Obstruction
from logger.horizon_csv import horizon_csv, read_horizon_csv
from logger.report import files, result_tables, survey_csv
from logger.report.tables import MONTHS, as_text
from logger.settings import Settings
from logger.site import Site

from .conftest import FAILED, PASSED


def rows_of(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text)))


@pytest.fixture(scope="module")
def points(point_of):
    return (point_of("eave"), point_of("yard", 30.0), point_of("gap", gap=True, checks=(FAILED,)))


def test_the_results_hold_every_month_of_every_plane(points):
    rows = rows_of(survey_csv.results_csv(points))
    assert len(rows) == 3 * 2 * 13
    december = next(
        r for r in rows if (r["point"], r["plane"], r["month"]) == ("yard", "roof", "Dec")
    )
    # At 46° north the noon sun of December stands at 20.6°: a barn of 30° in the south hides it.
    assert float(december["window_clear"]) < 0.5
    june = next(r for r in rows if (r["point"], r["plane"], r["month"]) == ("yard", "roof", "Jun"))
    assert float(june["window_clear"]) == 1.0


def bounds_of(values: dict[str, str]) -> list[tuple[float, float, float]]:
    names = [name for name in values if f"{name}_low" in values]
    return [
        tuple(float(values[key] or "nan") for key in (f"{name}_low", name, f"{name}_high"))
        for name in names
    ]


def test_low_is_never_above_value_nor_value_above_high(points, tmp_path):
    tables = (survey_csv.results_csv, survey_csv.year_csv)
    found = [b for table in tables for row in rows_of(table(points)) for b in bounds_of(row)]
    features = json.loads(files.points_geojson(points))["features"]
    found += [
        (p["solar_access_low"], p["solar_access"], p["solar_access_high"])
        for feature in features
        for p in feature["properties"]["planes"]
    ]
    told = [tuple(math.nan if v is None else v for v in three) for three in found]
    assert len(told) > 100
    assert all(not low > value and not value > high for low, value, high in told)
    assert sum(low < value < high for low, value, high in told) > 50


def test_the_year_s_table_tells_low_value_and_high_by_name(points):
    (row, *_) = rows_of(survey_csv.year_csv(points[1:2]))
    year = points[1].access.planes[0].solar_access.year
    told = [float(row[f"solar_access{end}"]) for end in ("_low", "", "_high")]
    assert told == pytest.approx([year.low, year.value, year.high], abs=1e-6)
    assert "not known" in row["sky"]
    assert not any("kwh" in name and cell for name, cell in row.items())
    # The survey's interval lies within the whole one, and is named as the survey's.
    of_survey = [float(row[f"solar_access_survey_{end}"]) for end in ("low", "high")]
    assert told[0] < of_survey[0] < of_survey[1] < told[2]


def test_a_rule_s_figures_stand_under_their_own_names(points):
    verdict = Verdict("solar access", 0.9, 0.7, 0.65, 0.75)
    plane = replace(points[1].access.planes[0], verdicts=(verdict,))
    judged = replace(points[1], access=replace(points[1].access, planes=(plane,)))
    (row,) = rows_of(survey_csv.rules_csv([judged]))
    assert [row[name] for name in ("limit", "found", "found_low", "found_high", "verdict")] == [
        "0.9", "0.7", "0.65", "0.75", "fail",
    ]  # fmt: skip


def test_the_kwh_of_a_plane_are_those_of_its_array_once_and_its_worst_point_is_named(points):
    sized = []
    for point, kwh in zip(points[:2], (300.0, 260.0), strict=True):
        energy = Energy(4.0, np.full(12, kwh), np.full(12, 330.0), Settings(), False)
        planes = (replace(point.access.planes[0], energy=energy),)
        sized.append(replace(point, access=replace(point.access, planes=planes)))
    (row,) = rows_of(survey_csv.planes_csv(sized))
    access = [p.access.planes[0].solar_access.annual for p in sized]
    assert float(row["energy_kwh"]) == pytest.approx(12 * 280.0)  # the mean, not the sum
    assert float(row["loss_kwh"]) == pytest.approx(12 * 50.0)
    assert float(row["specific_yield_kwh_per_kwp"]) == pytest.approx(12 * 280.0 / 4)
    assert float(row["mean_solar_access"]) == pytest.approx(np.mean(access), abs=1e-5)
    assert row["worst_point"] == sized[int(np.argmin(access))].name


def test_what_blocks_and_what_failed_are_told_by_their_own_names(points):
    rows = rows_of(survey_csv.blocked_csv(points[1:2]))
    held = points[1].access.planes[0].window.blocked
    assert [r["month"] for r in rows] == [MONTHS[b.month - 1] for b in held]
    spans = [(float(r["from_solar_hour"]), float(r["to_solar_hour"])) for r in rows]
    assert spans == [pytest.approx((b.from_solar_hour, b.to_solar_hour), abs=1e-5) for b in held]
    assert rows[0]["from_clock"] == held[0].from_clock != rows[0]["to_clock"]
    checks = {r["check"]: r["passed"] for r in rows_of(survey_csv.checks_csv(points[2:]))}
    assert checks[FAILED.check] == "NO"
    assert set(checks.values()) == {"NO", "yes"}


def test_the_terminal_tells_months_as_the_file_does(points):
    plane = points[1].access.planes[0]
    text = as_text(result_tables.month_table(plane, "yard"))
    assert text.startswith("roof: tilt 35°, azimuth 180° at yard\n")
    printed = {line.split()[0]: line.split()[1:] for line in text.splitlines() if line.split()}
    rows = rows_of(survey_csv.results_csv(points[1:2]))
    for month in ("Jan", "Jun", "year"):
        row = next(r for r in rows if (r["plane"], r["month"]) == ("roof", month))
        told = [float(row[f"solar_access{end}"]) * 100 for end in ("", "_low", "_high")]
        assert [float(v) for v in printed[month][:3]] == pytest.approx(told, abs=0.051)


def test_what_was_not_measured_is_not_called_clear(points):
    gap = points[2]
    rows = [r for r in rows_of(survey_csv.results_csv([gap])) if r["month"] != "year"]
    assert {r["window_clear"] for r in rows if r["month"] in ("Nov", "Dec", "Jan")} == {""}
    assert as_text(result_tables.month_table(gap.access.planes[0])).splitlines()[-3].endswith("–")


def test_an_obstruction_has_its_kind_its_distance_and_no_formula(points):
    barn = rows_of(survey_csv.obstructions_csv(points))[0]
    assert barn["obstruction"] == "'=barn"
    assert (barn["kind"], float(barn["distance_m"])) == ("building", 12.5)
    assert (float(barn["from_azimuth_deg"]), float(barn["to_azimuth_deg"])) == (150.0, 200.0)


def test_rows_that_print_nothing_but_zeros_are_left_out_and_it_is_said(points):
    far = replace(points[0].access.planes[0].by_obstruction[0], name="far hill",
                  loss_fraction=np.full(13, 0.0001))  # fmt: skip
    plane = points[0].access.planes[0]
    more = replace(plane, by_obstruction=(*plane.by_obstruction, far))
    table = result_tables.obstruction_months(more)
    assert "far hill" not in [o.name for o in table.rows]
    assert table.title.endswith("(zero rows omitted)")


def test_shade_by_month_and_hour_is_a_table_too(surveyed):
    rows = rows_of(survey_csv.shade_csv([("yard", surveyed[1].shade)]))
    june = [r for r in rows if r["month"] == "Jun"]
    # Sunrise to sunset in June at 46° north: a little under 16 hours (any almanac).
    assert 15 <= len(june) <= 17
    assert all(0 <= float(r["blocked"]) <= 1 for r in rows)
    noon = next(r for r in june if float(r["from_solar_hour"]) == 12.0)
    assert float(noon["blocked"]) == 0.0
    assert sum(float(r["blocked"]) for r in rows) > 10
    assert {float(r["not_measured"]) for r in rows} == {0.0}


def test_a_plain_horizon_is_azimuth_and_elevation_and_nothing_invented():
    azimuth = np.arange(0.0, 360.0, 10.0)
    elevation = np.where(azimuth < 300, azimuth / 10, np.nan)
    lines = files.plain_horizon(HorizonProfile(azimuth, elevation)).splitlines()
    numbers = [tuple(map(float, line.split())) for line in lines if not line.startswith("#")]
    assert (45.0, 4.5) in numbers
    assert max(a for a, _ in numbers) == 290
    assert "# not measured: 291 to 359" in lines


def test_both_rows_of_a_vertical_edge_keep_their_own_name(tmp_path):
    azimuth = np.array([0.0, 100.0, 100.0, 140.0, 140.0, 300.0])
    elevation = np.array([3.0, 3.0, 30.0, 30.0, 3.0, 3.0])
    names = (Obstruction("far hills", 0.0, 100.0), Obstruction("tower", 100.0, 140.0),
             Obstruction("far ridge", 140.0, 360.0))  # fmt: skip
    path = tmp_path / "h.csv"
    path.write_text(horizon_csv(HorizonProfile(azimuth, elevation, obstructions=names)))
    lines = [line for line in path.read_text().splitlines() if not line.startswith("#")]
    rows = list(csv.DictReader(lines))
    at = {(float(r["azimuth_deg"]), float(r["elevation_deg"])): r["obstruction"] for r in rows}
    assert at[(100.0, 3.0)] == "far hills"
    assert at[(100.0, 30.0)] == "tower"
    assert at[(140.0, 30.0)] == "tower"
    assert at[(140.0, 3.0)] == "far ridge"
    back = read_horizon_csv(path)
    spans = {o.name: (o.from_azimuth_deg, o.to_azimuth_deg) for o in back.obstructions}
    assert spans["tower"] == (100.0, 140.0)


def test_the_points_are_geojson_as_rfc_7946_has_it(points):
    # RFC 7946: 3.1.1 longitude before latitude; 4 no other reference system; 3.2 a feature has
    # geometry and properties.
    recipe = replace(points[0].recipe, site=Site(-35.0, 179.5, 12.0))
    made = json.loads(files.points_geojson([replace(points[0], recipe=recipe)]))
    assert made["type"] == "FeatureCollection"
    (feature,) = made["features"]
    assert feature["type"] == "Feature"
    assert feature["geometry"] == {"type": "Point", "coordinates": [179.5, -35.0]}
    assert feature["properties"]["name"] == "eave"
    assert feature["properties"]["altitude_m"] == 12.0
    assert "crs" not in made
    for checks, passed in (((PASSED,), True), ((PASSED, FAILED), False)):
        judged = json.loads(files.points_geojson([replace(points[0], checks=checks)]))
        assert judged["features"][0]["properties"]["quality_checks_passed"] is passed
    told = feature["properties"]["planes"][0]
    year = points[0].access.planes[0].solar_access.year
    shares = [told[f"solar_access{end}"] for end in ("_low", "", "_high")]
    assert shares == pytest.approx([year.low, year.value, year.high], abs=1e-9)
    assert shares[0] < shares[1] < shares[2]


@pytest.mark.parametrize(
    ("name", "stem"),
    [("north eave", "north-eave"), ("../../etc/passwd", "etc-passwd"), ("=1+1", "1-1"),
     ("***", "unnamed"), ("Süd", "Süd"), ("a\\b:c", "a-b-c")],
)  # fmt: skip
def test_a_name_makes_a_file_name_and_nothing_more(name, stem):
    assert files.file_stem(name) == stem


def test_every_table_is_written_and_no_two_points_share_a_file(report_of, point_of, tmp_path):
    report = report_of(point_of("north eave"), point_of("North Eave", 30.0))
    written = files.write_tables(report, tmp_path)
    names = {p.relative_to(tmp_path).as_posix() for p in written}
    assert len(names) == len(written)
    # Two names that some file systems cannot tell apart.
    assert {"horizons/north-eave.csv", "horizons/North-Eave-2.csv"} <= names
    assert {"results.csv", "shade.csv", "checks.csv", "pictures/north-eave-sun-paths.svg"} <= names
    back = read_horizon_csv(tmp_path / "horizons" / "north-eave.csv")
    own = report.points[0].horizon.profile
    np.testing.assert_allclose(back.elevation_deg, own.elevation_deg)
    for path in tmp_path.glob("*.csv"):
        cells = [c for row in csv.reader(io.StringIO(path.read_text("utf-8"))) for c in row]
        texts = [c for c in cells if not c.replace(".", "").lstrip("-").isdigit()]
        assert not any(c.lstrip()[:1] in ("=", "+", "-", "@") for c in texts), path
