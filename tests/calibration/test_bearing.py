"""Bearing by a landmark, and by the sun's shadow: never by looking at the sun."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest
from calibrated_boards import corrections_of, stream_of

from logger.calibration import fit_bearing_to_sun, fit_bearing_to_target, fit_compass
from logger.errors import InputError
from logger.geometry import angle_between
from logger.orientation import (
    CompassCorrection,
    Corrections,
    Declination,
    declination_at,
    field_expected_at,
)
from logger.simulation import DEFAULT_SITE, Sensor, simulate_bearing, simulate_tumble
from logger.site import Site
from logger.sun import sun_track

MORNING = dt.datetime(2026, 5, 14, 6, 0, tzinfo=dt.UTC)
PLACES = {
    "Europe": (DEFAULT_SITE, MORNING),
    "Australia": (Site(-33.9, 151.2, 30), dt.datetime(2026, 7, 2, 23, 30, tzinfo=dt.UTC)),
    "South America": (Site(-23.5, -46.6, 700), dt.datetime(2026, 6, 20, 12, 0, tzinfo=dt.UTC)),
    "North America": (Site(40.0, -105.0, 1600), dt.datetime(2026, 11, 5, 22, 0, tzinfo=dt.UTC)),
}
PLAIN = replace(Sensor(individual=6).without_iron(), field_noise_ut=0.4)


def ideal_compass(site: Site, when: dt.datetime, ripple_deg: float = 0.0) -> Corrections:
    """A compass that needs no correction, so that the sun alone is tested."""
    field = field_expected_at(site, when.date())
    compass = CompassCorrection(
        field_ut=field.field_ut, dip_deg=field.dip_deg, heading_ripple_deg=ripple_deg
    )
    return Corrections(declination_at(site, when.date()), compass)


@pytest.mark.parametrize("place", PLACES)
def test_the_residual_comes_back_by_the_suns_shadow(place: str) -> None:
    turned_deg = 9.0
    site, when = PLACES[place]
    shadow = stream_of(
        simulate_bearing(
            sensor=PLAIN, site=site, started=when, seed=1, streams="MG",
            declination_error_deg=turned_deg,
        )
    )  # fmt: skip
    corrections = ideal_compass(site, when)
    found = fit_bearing_to_sun(shadow.samples, shadow.keys, corrections, site, when)
    assert found.correction.residual_deg == pytest.approx(turned_deg, abs=0.2)
    assert found.correction.standard_error_deg >= 0.5
    assert found.figures["sights"] == 3
    assert max(found.figures["sun_elevation_deg"]) < 40
    assert found.checks[0].passed


def test_turning_round_between_sights_carries_the_bearing_to_every_heading() -> None:
    off: dict[bool, list[float]] = {True: [], False: []}
    for seed in range(4):
        sensor = Sensor(individual=seed)
        for turned, residuals in off.items():
            shadow = stream_of(
                simulate_bearing(
                    sensor=sensor, started=MORNING, seed=seed, streams="MG", turned=turned
                )
            )
            found = fit_bearing_to_sun(
                shadow.samples, shadow.keys, corrections_of(sensor), DEFAULT_SITE, MORNING
            ).correction
            assert abs(found.residual_deg) < found.standard_error_deg
            residuals.append(found.residual_deg)
    # Truth is no residual. The compass's ripple at the shadow's heading is what is turned away.
    assert np.abs(off[True]).max() < 0.2
    assert np.linalg.norm(off[True]) < 0.6 * np.linalg.norm(off[False])


@pytest.mark.parametrize(("turned", "stated_deg"), [(False, 4.9), (True, 2.4)])
def test_of_the_compasss_ripple_a_turn_leaves_half_in_the_stated_error(
    turned: bool, stated_deg: float
) -> None:
    shadow = stream_of(
        simulate_bearing(sensor=PLAIN, started=MORNING, seed=1, streams="MG", turned=turned)
    )
    rippled = ideal_compass(DEFAULT_SITE, MORNING, ripple_deg=5.0)
    found = fit_bearing_to_sun(shadow.samples, shadow.keys, rippled, DEFAULT_SITE, MORNING)
    assert found.correction.standard_error_deg == pytest.approx(stated_deg, abs=0.2)


def test_the_bearing_does_not_depend_on_the_declination() -> None:
    shadow = stream_of(simulate_bearing(sensor=PLAIN, started=MORNING, seed=2, streams="MG"))
    right = ideal_compass(DEFAULT_SITE, MORNING)
    wrong = replace(right, declination=Declination(-25.0, 5.0, "wrong"))
    a, b = (
        fit_bearing_to_sun(shadow.samples, shadow.keys, c, DEFAULT_SITE, MORNING).correction
        for c in (right, wrong)
    )
    assert a.heading_deg == pytest.approx(b.heading_deg)
    assert b.residual_deg - a.residual_deg == pytest.approx(
        right.declination.value_deg + 25.0, abs=1e-6
    )


def test_a_sight_towards_the_sun_is_refused_with_a_warning() -> None:
    sun = float(
        sun_track(np.array([np.datetime64("2026-05-14T06:00:06")]), DEFAULT_SITE).azimuth_deg[0]
    )
    towards = stream_of(
        simulate_bearing(target=(sun, 5.0), sensor=PLAIN, started=MORNING, seed=1, streams="MG")
    )
    with pytest.raises(InputError, match="never look at the sun"):
        fit_bearing_to_sun(
            towards.samples,
            towards.keys,
            ideal_compass(DEFAULT_SITE, MORNING),
            DEFAULT_SITE,
            MORNING,
        )


def test_a_landmark_gives_the_same_kind_of_correction() -> None:
    mark = stream_of(
        simulate_bearing(
            target=(200.0, 2.0), sensor=PLAIN, seed=3, streams="MG", declination_error_deg=-4.0
        )
    )
    corrections = ideal_compass(DEFAULT_SITE, MORNING)
    found = fit_bearing_to_target(mark.samples, mark.keys, corrections, 200.0)
    assert found.correction.residual_deg == pytest.approx(-4.0, abs=0.2)
    one = fit_bearing_to_target(mark.samples, mark.keys[:2], corrections, 200.0)
    assert one.figures["sights"] == 1
    assert not one.checks[0].passed
    assert float(angle_between(one.correction.heading_deg, found.correction.heading_deg)) < 0.5


def test_a_wrong_landmark_fails_beside_a_calibrated_compass() -> None:
    sensor = Sensor(individual=3)
    mark = stream_of(simulate_bearing(target=(63.0, 2.0), sensor=sensor, seed=3, streams="MG"))
    corrections = corrections_of(sensor)
    right = fit_bearing_to_target(mark.samples, mark.keys, corrections, 63.0)
    assert all(check.passed for check in right.checks)
    wrong = fit_bearing_to_target(mark.samples, mark.keys, corrections, 72.0)
    beside = wrong.checks[1]
    assert not beside.passed
    assert "typing error in the bearing, the wrong target, or steel nearby" in beside.why
    # 3 degrees that the declination may differ here, and twice what is stated of the errors.
    assert beside.limit is not None
    assert 3.0 < beside.limit < 6.0


def test_it_is_refused_where_nothing_is_held_still() -> None:
    tumble = stream_of(simulate_tumble(seed=1, streams="MG", still_s=0.1)).samples
    moving = tumble.rows(slice(200, 800))
    calibration = fit_compass(tumble).correction
    with pytest.raises(InputError, match="never held still"):
        fit_bearing_to_target(
            moving, (), Corrections(Declination(0, 0, "none"), calibration), 200.0
        )
