"""What leaves the program for others: tables of a whole survey, plain horizons, a map."""

from __future__ import annotations

import csv
import io
import json
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


def rows_of(text: str, **where: str) -> list[dict[str, str]]:
    rows = csv.DictReader(line for line in io.StringIO(text) if not line.startswith("#"))
    return [row for row in rows if where.items() <= row.items()]


@pytest.fixture(scope="module")
def points(point_of):
    return (point_of("eave"), point_of("yard", 30.0), point_of("gap", gap=True, checks=(FAILED,)))


def with_plane(point, **changed):
    plane = replace(point.access.planes[0], **changed)
    return replace(point, access=replace(point.access, planes=(plane,)))


def test_the_results_hold_every_month_and_the_year_of_every_plane_each_by_its_name(points):
    text = survey_csv.results_csv(points)
    assert len(rows_of(text)) == 3 * 2 * 13
    of_roof = {"point": "yard", "plane": "roof"}
    december, june, year = (rows_of(text, **of_roof, month=m)[0] for m in ("Dec", "Jun", "year"))
    # At 46° north the noon sun of December stands at 20.6°: a barn of 30° in the south hides it.
    assert float(december["window_clear"]) < 0.5
    assert float(june["window_clear"]) == 1.0
    held = points[1].access.planes[0]
    for name in ("orientation_factor", "total_solar_resource_fraction"):
        told = [float(year[f"{name}{end}"]) for end in ("", "_low", "_high")]
        assert told == pytest.approx(getattr(held, name).ends, abs=1e-6)
        assert june[name] == ""
    solar = held.solar_access.year
    told = [float(year[f"solar_access{end}"]) for end in ("_low", "", "_high")]
    assert told == pytest.approx([solar.low, solar.value, solar.high], abs=1e-6)
    # The survey's interval lies within the whole one, and is named as the survey's.
    of_survey = [float(year[f"solar_access_survey_{end}"]) for end in ("low", "high")]
    assert told[0] < of_survey[0] < of_survey[1] < told[2]
    assert "not known" in year["sky"]
    assert not any("kwh" in name and cell for name, cell in year.items())
    # What was not measured is not called clear.
    for month in ("Nov", "Dec", "Jan"):
        assert {row["window_clear"] for row in rows_of(text, point="gap", month=month)} == {""}
    printed = as_text(result_tables.month_table(points[2].access.planes[0]))
    assert printed.splitlines()[-3].endswith("–")


PLACES = dict.fromkeys(("eave", "yard", "gap"), (179.5, -35.0))


def test_low_is_never_above_value_nor_value_above_high(points):
    rows = rows_of(survey_csv.results_csv(points))
    for feature in json.loads(files.points_geojson(points, PLACES))["features"]:
        rows += feature["properties"]["planes"]
    told = [
        tuple(float(row[key] or "nan") for key in (f"{name}_low", name, f"{name}_high"))
        for row in rows
        for name in row
        if f"{name}_low" in row
    ]
    assert len(told) > 100
    assert all(not low > value and not value > high for low, value, high in told)
    assert sum(low < value < high for low, value, high in told) > 50


def test_a_rule_s_figures_stand_under_their_own_names(points):
    judged = with_plane(points[1], verdicts=(Verdict("solar access", 0.9, 0.7, 0.65, 0.75),))
    (row,) = rows_of(survey_csv.rules_csv([judged]))
    names = ("limit", "found", "found_low", "found_high", "verdict")
    assert [row[name] for name in names] == ["0.9", "0.7", "0.65", "0.75", "fail"]


def test_the_kwh_of_a_plane_are_those_of_its_array_once_and_its_worst_point_is_named(points):
    sized = [
        with_plane(p, energy=Energy(4.0, np.full(12, kwh), np.full(12, 330.0), Settings(), False))
        for p, kwh in zip(points[:2], (300.0, 260.0), strict=True)
    ]
    unfit = points[2]  # counts as little here as where points are compared
    (row,) = rows_of(survey_csv.planes_csv([*sized, unfit]))
    assert row["points"] == "2"
    access = [p.access.planes[0].solar_access.annual for p in sized]
    for name, right in {
        "energy_kwh": 12 * 280.0,  # the mean, not the sum
        "loss_kwh": 12 * 50.0,
        "specific_yield_kwh_per_kwp": 12 * 280.0 / 4,
        "mean_solar_access": np.mean(access),
    }.items():
        assert float(row[name]) == pytest.approx(right, abs=1e-5)
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
    barn = rows_of(survey_csv.obstructions_csv(points))[0]
    assert (barn["obstruction"], barn["kind"]) == ("'=barn", "building")  # no formula
    numbers = [float(barn[k]) for k in ("distance_m", "from_azimuth_deg", "to_azimuth_deg")]
    assert numbers == [12.5, 150.0, 200.0]


def test_the_terminal_tells_months_as_the_file_does(points):
    text = as_text(result_tables.month_table(points[1].access.planes[0], "yard"))
    assert text.startswith("roof: tilt 35°, azimuth 180° at yard\n")
    printed = {line.split()[0]: line.split()[1:] for line in text.splitlines() if line.split()}
    for month in ("Jan", "Jun", "year"):
        (row,) = rows_of(survey_csv.results_csv(points[1:2]), plane="roof", month=month)
        told = [float(row[f"solar_access{end}"]) * 100 for end in ("", "_low", "_high")]
        assert [float(v) for v in printed[month][:3]] == pytest.approx(told, abs=0.051)


def test_rows_that_print_nothing_but_zeros_are_left_out_and_it_is_said(points):
    plane = points[0].access.planes[0]
    far = replace(plane.by_obstruction[0], name="far hill", loss_fraction=np.full(13, 0.0001))
    more = replace(plane, by_obstruction=(*plane.by_obstruction, far))
    table = result_tables.obstruction_months(more)
    assert "far hill" not in [o.name for o in table.rows]
    assert table.title.endswith("(zero rows omitted)")


def test_shade_by_month_and_hour_is_a_table_too(surveyed):
    text = survey_csv.shade_csv([("yard", surveyed[1].shade)])
    rows, june = rows_of(text), rows_of(text, month="Jun")
    # Sunrise to sunset in June at 46° north: a little under 16 hours (any almanac).
    assert 15 <= len(june) <= 17
    assert all(0 <= float(r["blocked"]) <= 1 for r in rows)
    (noon,) = (r for r in june if float(r["from_solar_hour"]) == 12.0)
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
    spans = (("far hills", 0.0, 100.0), ("tower", 100.0, 140.0), ("far ridge", 140.0, 360.0))
    names = tuple(Obstruction(*span) for span in spans)
    path = tmp_path / "h.csv"
    path.write_text(horizon_csv(HorizonProfile(azimuth, elevation, obstructions=names)))
    columns = ("azimuth_deg", "elevation_deg", "obstruction")
    told = [tuple(row[name] for name in columns) for row in rows_of(path.read_text())]
    assert {(float(a), float(e), name) for a, e, name in told if float(a) in (100, 140)} == {
        (100, 3, "far hills"), (100, 30, "tower"), (140, 30, "tower"), (140, 3, "far ridge"),
    }  # fmt: skip
    back = {o.name: o for o in read_horizon_csv(path).obstructions}
    assert (back["tower"].from_azimuth_deg, back["tower"].to_azimuth_deg) == (100.0, 140.0)


def test_the_points_are_geojson_as_rfc_7946_has_it(points, report_of, monkeypatch):
    # RFC 7946: 3.1.1 longitude before latitude; 4 no other reference system; 3.2 a feature has
    # geometry and properties.
    there = replace(points[0], recipe=replace(points[0].recipe, site=Site(-35.0, 179.5, 12.0)))
    monkeypatch.setattr(files, "point_names", lambda job: ["eave"])
    at = files.place_of(report_of().job, there)
    made = json.loads(files.points_geojson([there], {"eave": at}))
    assert made["type"] == "FeatureCollection"
    assert "crs" not in made
    (feature,) = made["features"]
    assert feature["type"] == "Feature"
    assert feature["geometry"] == {"type": "Point", "coordinates": [179.5, -35.0]}
    assert (feature["properties"]["name"], feature["properties"]["altitude_m"]) == ("eave", 12.0)
    year = points[0].access.planes[0].solar_access.year
    plane = feature["properties"]["planes"][0]
    shares = [plane[f"solar_access{end}"] for end in ("_low", "", "_high")]
    assert shares == pytest.approx([year.low, year.value, year.high], abs=1e-9)
    assert shares[0] < shares[1] < shares[2]
    for checks, passed in (((PASSED,), True), ((PASSED, FAILED), False)):
        judged = json.loads(files.points_geojson([replace(points[0], checks=checks)], PLACES))
        assert judged["features"][0]["properties"]["quality_checks_passed"] is passed


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
