"""Beam access of the shipped survey, reckoned again with pvlib alone, every hour of the year."""

import numpy as np
import pandas as pd
import pvlib
import pytest

from logger.access import SiteYear, Weather
from logger.job import point_names, read_job
from logger.settings import Settings
from logger.survey.demo import shipped_survey
from logger.survey.points import point_result
from logger.survey.recipe import recipe_of


@pytest.fixture(scope="module")
def survey():
    job = read_job(shipped_survey())
    return job, recipe_of(job)


@pytest.fixture(scope="module")
def sky(survey):
    """Month, sun and clear-sky beam, fifteen instants an hour.

    At one instant an hour, a building's edge would be met at the same place on every day of a
    month.
    """
    site = survey[0].site
    # Months of local mean solar time, as documented.
    local = pd.date_range("2026-01-01 00:02", "2026-12-31 23:58", freq="4min")
    times = (local - pd.Timedelta(hours=site.longitude_deg / 15)).tz_localize("UTC")
    place = pvlib.location.Location(site.latitude_deg, site.longitude_deg, altitude=site.altitude_m)
    sun = place.get_solarposition(times)
    dni = place.get_clearsky(times, model="ineichen", solar_position=sun)["dni"]
    return local.month.to_numpy(), sun, dni


@pytest.fixture(scope="module")
def year(survey):
    """The survey's planes under a cloudless year by pvlib's own model, minute by minute."""
    site = survey[0].site
    times = pd.date_range("2026-01-01", "2026-12-31 23:59", freq="min", tz="UTC")
    place = pvlib.location.Location(site.latitude_deg, site.longitude_deg, altitude=site.altitude_m)
    columns = (column.to_numpy() for _, column in place.get_clearsky(times).items())
    clear = dict(zip(("ghi_wm2", "dni_wm2", "dhi_wm2"), columns, strict=True))
    return SiteYear(site, survey[1].planes, Settings(draws=0), Weather(**clear, step_min=1))


def by_pvlib(profile, plane, sky):
    """Monthly and annual beam access: sun's centre above the skyline."""
    month, sun, dni = sky
    incidence = pvlib.irradiance.aoi_projection(
        plane.tilt_deg, plane.azimuth_deg, sun["apparent_zenith"], sun["azimuth"]
    )
    beam = (dni * np.maximum(incidence, 0)).to_numpy()
    skyline = np.maximum(profile.elevation_at(sun["azimuth"].to_numpy()), 0.0)
    clear = sun["apparent_elevation"].to_numpy() > skyline
    monthly = [beam[(month == m) & clear].sum() / beam[month == m].sum() for m in range(1, 13)]
    return np.array([*monthly, beam[clear].sum() / beam.sum()])


@pytest.mark.parametrize("point", point_names(read_job(shipped_survey())))
def test_pvlib_agrees(survey, sky, year, point):
    profile = point_result(survey[0], point, survey[1]).horizon.profile
    solid = profile.with_obstructions([])
    for plane in year.assess(solid).planes:
        expected = by_pvlib(solid, plane.plane, sky)
        got = plane.beam_access.value
        # The sun's disc, and edges between two instants: up to half a point in a month.
        assert np.abs(got[:12] - expected[:12]).max() < 0.005
        assert got[12] == pytest.approx(expected[12], abs=0.001)


def test_months_pair_up_around_the_solstices(survey):
    # Common practice, no source: the sun runs the same path twice a year, so that months pair up
    # around the solstices (they share their shade; light differs with the turbidity).
    job, recipe = survey
    beam = point_result(job, "yard", recipe).access.planes[0].beam_access.value
    for early, late in ((0, 10), (1, 9), (2, 8), (3, 7), (4, 6)):
        assert beam[early] == pytest.approx(beam[late], abs=0.12)
    assert abs(beam[0] - beam[6]) > 0.3
