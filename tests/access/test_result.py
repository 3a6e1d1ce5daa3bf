"""What a surveyor may ask for besides: rules, snow, electricity; and the form as JSON."""

import json
from dataclasses import replace

import numpy as np
import pytest

from logger.access import FAIL, PASS, TOO_CLOSE, Plane, Rules, SiteYear, Verdict, Weather
from logger.access import sky_view_factor as view_over
from logger.access.electricity import power_w
from logger.errors import UsageError
from logger.files import plain
from logger.horizon import HorizonProfile
from logger.settings import Settings
from logger.site import Site

from .conftest import NOTHING_DRAWN, ROOF, roof
from .suns import WALL

LEVEL = HorizonProfile.level()


@pytest.mark.parametrize(
    ("value", "low", "high", "verdict"),
    [
        (0.9, 0.85, 0.95, PASS), (0.7, 0.6, 0.75, FAIL), (0.82, 0.78, 0.86, TOO_CLOSE),
        (0.8, 0.8, 0.8, PASS), (np.nan, 0.85, 0.95, PASS), (np.nan, 0.5, 0.9, TOO_CLOSE),
        (np.nan, np.nan, np.nan, FAIL),
    ],
)  # fmt: skip
def test_a_verdict_needs_the_whole_interval(value, low, high, verdict):
    assert Verdict("r", 0.8, value, low, high).verdict == verdict


def held(site, clear, horizon, draws=0, **limits):
    return roof(
        SiteYear(site, [ROOF], Settings(draws=draws), clear, rules=Rules(**limits)), horizon
    )


ACCESS, RESOURCE, WINDOW = RULES = (
    "minimum_solar_access", "minimum_total_solar_resource_fraction", "minimum_window_clear",
)  # fmt: skip


def test_each_rule_has_its_own_verdict_and_only_those_asked_for(site, clear):
    names = "solar access", "total solar resource fraction", "clear solar window in the worst month"
    for rule, name in zip(RULES, names, strict=True):
        (verdict,) = held(site, clear, WALL, **{rule: 0.6}).verdicts
        assert (verdict.rule, verdict.limit) == (name, 0.6)
    plane = held(site, clear, WALL, **dict.fromkeys(RULES, 0.6))
    solar, resource, window = plane.verdicts
    assert (solar.value, solar.low, solar.high) == plane.solar_access.year.ends
    assert (resource.value, resource.low, resource.high) == plane.total_solar_resource_fraction.ends
    assert window.value == plane.window.monthly_clear_fraction.min()


def test_rules_are_held_against_the_plane(site, clear, unsure):
    plane = held(site, clear, unsure, 200)
    limits = {ACCESS: plane.solar_access.annual + 1e-4, RESOURCE: 0.5, WINDOW: 0.99}
    found = held(site, clear, unsure, 200, **limits).verdicts
    assert [v.verdict for v in found] == [TOO_CLOSE, PASS, FAIL]
    assert found[2].low < found[2].value < found[2].high


def test_a_rule_is_too_close_to_call_where_the_sky_decides_it(site, clear, street):
    known = held(site, clear, street, 200)
    limit = known.orientation_factor.value * known.solar_access.annual - 0.01
    for sky, verdict in ((clear, PASS), (None, TOO_CLOSE)):
        assert held(site, sky, street, 200, **{RESOURCE: limit}).verdicts[0].verdict == verdict


def test_a_window_in_which_the_sun_never_is_has_no_worst_month(site):
    settings = Settings(draws=0, solar_window=(0, 0.5))
    (verdict,) = roof(SiteYear(site, [ROOF], settings, rules=Rules(**{WINDOW: 0.5})), WALL).verdicts
    assert np.isnan([verdict.value, verdict.low, verdict.high]).all()
    assert verdict.verdict == FAIL


def test_snow_on_the_ground_brings_light_to_a_steep_plane(site, clear):
    months = ((0.7, 0.7) + (0.2,) * 9 + (0.7,), (0.2,))
    years = (SiteYear(site, [Plane("wall", 90, 180)], Settings(draws=0, reflectance=r), clear)
             for r in months)  # fmt: skip
    white, bare = (roof(year, LEVEL).unshaded_kwh_m2 for year in years)
    assert white[0] > 1.05 * bare[0]
    assert white[6] == pytest.approx(bare[6], rel=1e-12)


@pytest.mark.parametrize("wrong", [(91, 0), (-1, 0), (10, 400), (float("nan"), 0), (10, 0, -2)])
def test_planes_that_make_no_sense_are_refused(wrong):
    with pytest.raises(UsageError):
        Plane("p", *wrong)


# --- Electricity ---


def steady(horizon, air=20.0):
    """Energy of a level plane in weather whose light and air are always the same."""
    light, air = (np.full(8760, value) for value in (300.0, air))
    weather = Weather(light, 0 * light, light, temperature_c=air, wind_ms=np.ones(8760))
    year = SiteYear(Site(45, 0), [Plane("flat", 0, 0, 1.0)], NOTHING_DRAWN, weather)
    return roof(year, horizon).energy


def test_power_by_hand():
    settings = Settings(system_losses=0.1, dc_ac_ratio=1.0)
    # 800 W/m2, air 20, wind 1: cell 20 + 800 / 31.84 = 45.126 degC (Faiman); 5 kWp.
    dc = 5000 * 0.8 * (1 - 0.0035 * (45.1256 - 25)) * 0.9
    found = power_w(np.array([800.0, 0.0, 2000.0]), 5.0, settings, np.array([20.0] * 3), np.ones(3))
    assert found[0] == pytest.approx(0.96 * dc, rel=0.01)  # the part-load curve is nearly flat here
    assert found[1] == 0
    assert found[2] == pytest.approx(5000)  # the inverter's limit


def test_energy_follows_the_light(site, clear):
    year = SiteYear(site, [replace(ROOF, size_kwp=4.0)], NOTHING_DRAWN, clear)
    plane, level = (roof(year, h) for h in (WALL, LEVEL))
    energy = plane.energy
    assert energy.size_kwp == 4.0
    assert not energy.weather_temperature
    assert level.energy.kwh == pytest.approx(level.energy.unshaded_kwh)
    assert energy.unshaded_kwh == pytest.approx(level.energy.kwh)
    lost = 1 - energy.kwh / energy.unshaded_kwh
    assert lost == pytest.approx(1 - plane.solar_access.value[:12], abs=0.02)
    # A year's light times rated power and a performance ratio between 0.7 and 0.9.
    ratio = level.energy.kwh / (4.0 * plane.unshaded_kwh_m2)
    assert ((ratio > 0.7) & (ratio < 0.9)).all()
    assert energy.specific_yield == pytest.approx(energy.kwh.sum() / 4.0)
    entry = plane.as_dict()
    assert "strings" in entry["loss"]["note"]
    assert entry["loss"]["annual_kwh"] == pytest.approx(energy.lost_kwh.sum())
    assumed = entry["energy"]["assumptions"]
    assert (assumed["losses"], assumed["air_temperature_c"]) == (0.14, 20.0)


def test_under_a_dull_sky_energy_is_lost_with_the_sky_that_is_hidden():
    # A skyline of 30° all round takes sin² 30° of a level plane's sky.
    energy = steady(HorizonProfile([0], [30]))
    assert 1 - energy.kwh.sum() / energy.unshaded_kwh.sum() == pytest.approx(0.25, abs=0.03)


def test_warm_air_costs_energy():
    cool, warm = (steady(LEVEL, air) for air in (0.0, 30.0))
    assert 1 - warm.kwh.sum() / cool.kwh.sum() == pytest.approx(30 * 0.0035, abs=0.02)
    assert warm.weather_temperature
    assert warm.as_dict()["assumptions"]["air_temperature_c"] is None


# --- The record and its JSON ---


def test_received_and_lost_make_what_is_offered(year, street):
    for plane, of_open in zip(year.assess(street).planes, year.planes, strict=True):
        solar = plane.solar_access.value
        assert plane.received_kwh_m2 == pytest.approx(solar[:12] * plane.unshaded_kwh_m2)
        whole = plane.received_kwh_m2.sum() / plane.unshaded_kwh_m2.sum()
        assert solar[12] == pytest.approx(whole)
        view = view_over(street, plane.plane.tilt_deg, plane.plane.azimuth_deg)
        assert plane.sky_view_factor == pytest.approx(view, abs=1e-6)
        received = np.nansum(plane.hourly_solar_access * of_open.unshaded, axis=1)
        assert received == pytest.approx(plane.received_kwh_m2, rel=1e-12)


def test_hours_of_the_table_are_solar_hours(year):
    """A wall to the east takes the morning, and nothing after noon."""
    east = HorizonProfile([60, 60, 120, 120], [0, 50, 50, 0])
    hourly = roof(year, east).hourly_beam_access
    assert hourly.shape == (12, 24)
    assert hourly[5, 7] < 0.05
    assert (hourly[5, 12:18] == 1.0).all()
    assert np.isnan(hourly[0, 22])


def test_the_midnight_sun_has_all_24_hours():
    north = SiteYear(Site(70.0, 25.0), [Plane("level", 0.0, 180.0)], NOTHING_DRAWN)
    assert (roof(north, LEVEL).hourly_solar_access[5] == 1.0).all()


def test_the_result_has_the_documented_form(unknown, year, street):
    for of, kind in ((unknown, "unknown"), (year, "typical year")):
        document = json.loads(json.dumps(plain(of.assess(street).as_dict()), allow_nan=False))
        place = {"latitude_deg": 46.05, "longitude_deg": 14.51, "altitude_m": 310.0}
        assert document["site"] == place
        assert document["sky"].keys() == {"kind", "source", "sha256"}
        assert document["sky"]["kind"] == kind
        assert document["assumptions"]["ground_reflectance"] == [0.2] * 12
        plane = document["planes"][0]
        assert {
            "name", "tilt_deg", "azimuth_deg", "solar_access", "beam_access",
            "orientation_factor", "total_solar_resource_fraction", "loss", "window",
            "by_obstruction",
        } <= set(plane)  # fmt: skip
        ends = ("low", "survey_low", "value", "survey_high", "high")
        for name in ("solar_access", "beam_access"):
            assert len(plane[name]["monthly"]) == 12
            for share in (plane[name]["annual"], *plane[name]["monthly"]):
                assert share.keys() == set(ends)
                assert [share[end] for end in ends] == sorted(share.values())
        for name in ("orientation_factor", "total_solar_resource_fraction"):
            assert plane[name]["low"] <= plane[name]["value"] <= plane[name]["high"]
        assert len(plane["loss"]["monthly_kwh_per_m2"]) == 12
        window = plane["window"]
        assert (window["from_solar_hour"], window["to_solar_hour"]) == (9, 15)
        assert len(window["monthly_clear_fraction"]) == 12
        assert 0 < window["annual_clear_fraction"] < 1
        assert {"month", "from", "to", "obstruction"} <= set(window["blocked"][0])
        spruce = next(o for o in plane["by_obstruction"] if o["name"] == "spruce")
        assert spruce["kind"] == "evergreen"
        assert (spruce["from_azimuth_deg"], spruce["to_azimuth_deg"]) == (119.5, 150.5)
        assert 0.01 < spruce["annual_loss_fraction"] < spruce["monthly_loss_fraction"][0]
        assert len(spruce["monthly_loss_fraction"]) == 12
        widths = [part["width"] for part in plane["interval_parts"]]
        assert widths == sorted(widths, reverse=True)


def test_what_has_no_name_is_told_where_it_matters(year):
    result = year.assess(WALL)
    (note,) = (n for n in result.notes if "has no name" in n)
    worst = max(p.by_obstruction[0].loss_fraction[12] for p in result.planes)
    assert note.startswith(
        f"{100 * worst:.1f} % of the year's light is blocked by what has no name"
    )
    assert "edit name-sector" in result.hints[0]


def test_the_year_is_that_of_the_settings_and_minutes_fall_into_their_months(site):
    year = SiteYear(site, [ROOF], Settings(year=2024, draws=0))
    assert year.sun.year == 2024
    assert (year.month_hour // 24 == year.sun.month).all()
    assert (year.month_hour % 24 == np.floor(year.sun.solar_hour).clip(max=23)).all()
