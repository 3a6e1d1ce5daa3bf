"""Best fixed plane and orientation factor."""

import numpy as np
import pytest

from logger.access import Plane, SiteYear
from logger.access.best_plane import irradiation
from logger.horizon import HorizonProfile
from logger.site import Site

from .conftest import NOTHING_DRAWN, clear_weather

GRID = [(t, a) for t in (0, 20, 35, 50, 90) for a in (90, 150, 180, 230)]


def test_any_plane_agrees_with_minute_by_minute_sums(site, street, leafy, clear):
    planes = [Plane(f"{t}/{a}", t, a) for t, a in GRID]
    year = SiteYear(site, planes, NOTHING_DRAWN, clear)
    for horizon in (None, street, leafy):
        quick = irradiation(year.sky_light(horizon), *np.array(GRID, dtype=float).T)
        result = year.assess(horizon or HorizonProfile.level())
        exact = np.array([p.received_kwh_m2.sum() for p in result.planes])
        assert quick == pytest.approx(exact, rel=1e-3)


def test_without_shade_the_best_plane_faces_the_equator():
    # Tilt near the latitude: rule of thumb, from memory; a clear year has it within ten degrees.
    for latitude, azimuth in ((40, 180), (-35, 0), (0, None)):
        place = Site(latitude, 0)
        best = SiteYear(place, [], NOTHING_DRAWN, clear_weather(place)).best_unshaded
        assert best.tilt_deg == pytest.approx(abs(latitude), abs=10)
        if azimuth is not None:
            assert abs((best.azimuth_deg - azimuth + 180) % 360 - 180) < 1


def test_the_best_plane_turns_away_from_shade(year):
    east_wall = HorizonProfile([40, 40, 170, 170], [0, 50, 50, 0])
    west_wall = HorizonProfile([190, 190, 320, 320], [0, 50, 50, 0])
    assert year.best_under(east_wall).azimuth_deg > 195
    assert year.best_under(west_wall).azimuth_deg < 165
    level = year.best_under(HorizonProfile.level()).azimuth_deg
    assert level == pytest.approx(year.best_unshaded.azimuth_deg, abs=0.2)


def test_no_other_plane_beats_the_best(year, unknown, street):
    tilt, azimuth = (g.ravel() for g in np.meshgrid(np.arange(0.0, 91, 5), np.arange(0.0, 360, 10)))
    for of in (year, unknown):
        under, open_sky = (irradiation(of.sky_light(h), tilt, azimuth) for h in (street, None))
        best = of.best_under(street).annual_kwh_per_m2
        assert 0.99 * best < under.max() <= best + 1e-9
        assert (under <= open_sky + 1e-9).all()


def test_orientation_factor_and_total_solar_resource_fraction(site, street, clear):
    best = SiteYear(site, [], NOTHING_DRAWN, clear).best_unshaded
    planes = [Plane("best", best.tilt_deg, best.azimuth_deg), Plane("north", 60, 0)]
    top, north = SiteYear(site, planes, NOTHING_DRAWN, clear).assess(street).planes
    assert top.orientation_factor.value == pytest.approx(1, abs=1e-9)
    assert 0.1 < north.orientation_factor.value < 0.4
    for plane in (top, north):
        product = plane.orientation_factor.value * plane.solar_access.annual
        assert plane.total_solar_resource_fraction.value == pytest.approx(product)
    share = north.unshaded_kwh_m2.sum() / top.unshaded_kwh_m2.sum()
    assert north.orientation_factor.value == pytest.approx(share, rel=1e-3)
