"""What a surveyor may ask for besides: rules, weights, snow, electricity; and the JSON form."""

import json

import numpy as np
import pytest

from logger.access import (
    FAIL,
    PASS,
    TOO_CLOSE,
    Plane,
    Rules,
    SiteYear,
    Verdict,
    Weather,
    assess,
)
from logger.errors import UsageError
from logger.horizon import HorizonProfile
from logger.settings import Settings
from logger.site import Site

ROOF = Plane("roof", 35, 180)


def verdict(value, low, high, limit=0.8):
    return Verdict("r", limit, value, low, high).verdict


def test_a_verdict_needs_the_whole_interval():
    assert verdict(0.9, 0.85, 0.95) == PASS
    assert verdict(0.7, 0.6, 0.75) == FAIL
    assert verdict(0.82, 0.78, 0.86) == TOO_CLOSE
    assert verdict(0.8, 0.8, 0.8) == PASS
    assert verdict(float("nan"), float("nan"), float("nan")) == FAIL


def test_rules_are_held_against_the_plane(site, street):
    from dataclasses import replace

    uncertain = replace(street, heading_error_deg=3.0, level_error_deg=0.5)
    plane = SiteYear(site, [ROOF]).assess(uncertain).planes[0]
    access = plane.solar_access
    rules = Rules(float(access.value[12]) + 1e-4, 0.5, 0.99)
    found = SiteYear(site, [ROOF], rules=rules).assess(uncertain).planes[0].verdicts
    assert [v.verdict for v in found] == [TOO_CLOSE, PASS, FAIL]
    assert found[0].low == access.low[12]
    assert found[2].value == np.nanmin(plane.window.monthly_clear_fraction)
    assert found[2].low < found[2].value < found[2].high


def test_snow_on_the_ground_brings_light_to_a_steep_plane(site):
    snow = Settings(reflectance=(0.7, 0.7) + (0.2,) * 9 + (0.7,))
    wall = Plane("wall", 90, 180)
    white = assess(HorizonProfile([0], [5]), site, [wall], snow).planes[0].unshaded_kwh_m2
    bare = assess(HorizonProfile([0], [5]), site, [wall]).planes[0].unshaded_kwh_m2
    assert white[0] > 1.05 * bare[0]
    assert white[6] == pytest.approx(bare[6], rel=1e-12)


@pytest.mark.parametrize("wrong", [(91, 0), (-1, 0), (10, 400), (float("nan"), 0), (10, 0, -2)])
def test_planes_that_make_no_sense_are_refused(wrong):
    with pytest.raises(UsageError):
        Plane("p", *wrong)


def steady(irradiance, air):
    """A year of weather in which light and air are always the same."""
    ones = np.ones(8760)
    return Weather(
        irradiance * ones, 0 * ones, irradiance * ones,
        temperature_c=air * ones, wind_ms=1.0 * ones,
    )  # fmt: skip


def test_power_by_hand():
    from logger.access.electricity import power_w

    settings = Settings(system_losses=0.1, dc_ac_ratio=1.0)
    # 800 W/m2, air 20, wind 1: cell 20 + 800 / 31.84 = 45.126 degC (Faiman); 5 kWp.
    dc = 5000 * 0.8 * (1 - 0.0035 * (45.1256 - 25)) * 0.9
    found = power_w(np.array([800.0, 0.0, 2000.0]), 5.0, settings, np.array([20.0] * 3), np.ones(3))
    assert found[0] == pytest.approx(0.96 * dc, rel=0.01)  # the part-load curve is nearly flat here
    assert found[1] == 0
    assert found[2] == pytest.approx(5000)  # the inverter's limit


def test_energy_and_yield(site, street):
    plane = SiteYear(site, [Plane("roof", 35, 180, 4.0)]).assess(street).planes[0]
    energy = plane.energy
    assert energy.kwh.sum() < energy.unshaded_kwh.sum()
    # A year's light times rated power and a performance ratio between 0.7 and 0.9.
    ratio = energy.specific_yield / plane.received_kwh_m2.sum()
    assert 0.7 < ratio < 0.9
    lost = energy.lost_kwh.sum() / energy.unshaded_kwh.sum()
    assert lost == pytest.approx(1 - plane.solar_access.annual, abs=0.02)
    entry = plane.as_dict()
    assert "strings" in entry["loss"]["note"]
    assert entry["loss"]["annual_kwh"] == pytest.approx(energy.lost_kwh.sum())
    assert entry["energy"]["assumptions"]["losses"] == 0.14


def test_warm_air_costs_energy():
    plane = [Plane("flat", 0, 0, 1.0)]
    cool, warm = (
        assess(HorizonProfile.level(), Site(45, 0), plane, weather=steady(300, air)).planes[0]
        for air in (0, 30)
    )
    drop = 1 - warm.energy.kwh.sum() / cool.energy.kwh.sum()
    assert drop == pytest.approx(30 * 0.0035, abs=0.02)


def test_the_result_has_the_documented_form(year, street):
    document = json.loads(json.dumps(year.assess(street).as_dict(), allow_nan=False))
    assert document["site"] == {"latitude_deg": 46.05, "longitude_deg": 14.51, "altitude_m": 310.0}
    assert len(document["planes"]) == 2
    plane = document["planes"][0]
    assert {
        "name",
        "tilt_deg",
        "azimuth_deg",
        "solar_access",
        "beam_access",
        "orientation_factor",
        "total_solar_resource_fraction",
        "loss",
        "window",
        "by_obstruction",
    } <= set(plane)
    for name in ("solar_access", "beam_access"):
        assert len(plane[name]["monthly"]) == 12
        for share in (plane[name]["annual"], *plane[name]["monthly"]):
            assert set(share) == {"value", "low", "high"}
            assert 0 <= share["low"] <= share["value"] <= share["high"] <= 1
    assert len(plane["loss"]["monthly_kwh_per_m2"]) == 12
    assert "annual_kwh" not in plane["loss"]
    assert plane["loss"]["annual_kwh_per_m2"] == pytest.approx(
        sum(plane["loss"]["monthly_kwh_per_m2"])
    )
    window = plane["window"]
    assert (window["from_solar_hour"], window["to_solar_hour"]) == (9, 15)
    assert len(window["monthly_clear_fraction"]) == 12
    assert {"month", "from", "to", "obstruction"} <= set(window["blocked"][0])
    for entry in plane["by_obstruction"]:
        assert {"name", "from_azimuth_deg", "to_azimuth_deg"} <= set(entry)
        assert len(entry["monthly_loss_fraction"]) == 12
    assert document["assumptions"]["year"] == 2026
    assert "Ineichen" in document["assumptions"]["sky"]
    assert document["assumptions"]["transposition"] == "haydavies"


def test_hours_add_up_to_months(year, street):
    plane = year.assess(street).planes[0]
    offered = year.planes[0].unshaded
    received = np.nansum(plane.hourly_solar_access * offered, axis=1)
    assert received == pytest.approx(plane.received_kwh_m2, rel=1e-12)
    assert np.isnan(plane.hourly_solar_access[0, 2])


def test_a_block_to_the_west_north_west_costs_nothing_from_september_to_march():
    # At 40 N the sun sets south of west from the September to the March equinox.
    block = HorizonProfile([271, 271, 300, 300], [0, 60, 60, 0])
    beam = assess(block, Site(40, 0), [ROOF]).planes[0].beam_access.value
    assert (beam[[9, 10, 11, 0, 1]] == 1).all()
    assert (beam[[4, 5, 6]] < 1).all()
