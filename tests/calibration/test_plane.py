"""Plane: a surface measured by laying the board on it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from calibrated_boards import DECLINATION, corrections_of, stream_of

from logger.calibration import fit_plane
from logger.errors import InputError
from logger.geometry import angle_between, attitude_matrix
from logger.orientation import Corrections
from logger.recording.samples import Samples
from logger.simulation import Sensor, Steel, simulate_plane, simulate_tumble

SENSOR = Sensor(individual=3)
UP, FIELD = np.array([0.0, 0.0, -1.0]), np.array([20.0, 0.0, 43.0])


@pytest.mark.parametrize(
    ("tilt", "azimuth", "twist"), [(30, 180, 0), (12, 97, 40), (45, 300, -90), (70, 10, 170)]
)
def test_tilt_and_azimuth_of_a_surface_however_the_board_is_turned_on_it(
    tilt: float, azimuth: float, twist: float
) -> None:
    laid = stream_of(
        simulate_plane(tilt, azimuth, SENSOR, seed=1, streams="MG", twist_deg=twist)
    ).samples
    plane = fit_plane(laid, corrections_of(SENSOR))
    assert plane.tilt_deg == pytest.approx(tilt, abs=0.4)
    off = float(angle_between(plane.azimuth_deg, azimuth))
    assert abs(off) < 2 * plane.azimuth_error_deg
    assert plane.azimuth_error_deg < 4
    assert plane.checks[0].passed


def test_a_board_that_sends_attitude_only_measures_a_plane_too() -> None:
    plain = SENSOR.without_iron()
    laid = stream_of(simulate_plane(25, 200, plain, seed=1, streams="A")).samples
    plane = fit_plane(laid, Corrections(DECLINATION))
    assert plane.tilt_deg == pytest.approx(25, abs=0.3)
    assert plane.azimuth_deg == pytest.approx(200, abs=1.5)


def holds(*attitudes: tuple[float, float, float], seconds: float = 5.0) -> Samples:
    """Board held still in one attitude after the other, with a quick way between."""
    n = int(seconds * 50)
    angles = np.concatenate([np.repeat([a], n, axis=0) for a in attitudes])
    body = attitude_matrix(*angles.T)
    rng = np.random.default_rng(1)
    columns = Samples.blank(len(body)) | {
        "t_s": np.arange(len(body)) / 50,
        "field_ut": FIELD @ body + rng.normal(0, 0.2, (len(body), 3)),
        "force_g": UP @ body + rng.normal(0, 0.003, (len(body), 3)),
    }
    return Samples(**columns)


def test_laid_again_end_for_end_the_seating_counts_less() -> None:
    once = fit_plane(holds((0, 0, 30)), Corrections(DECLINATION))
    # Turned round on the same surface: the sight points down the slope.
    twice = fit_plane(holds((0, 0, 30), (180, 0, -30)), Corrections(DECLINATION))
    assert twice.figures["end_for_end"]
    assert twice.tilt_deg == pytest.approx(30, abs=0.1)
    assert twice.tilt_error_deg <= once.tilt_error_deg


def test_on_steel_the_azimuth_comes_from_a_sight_along_the_eaves() -> None:
    steel = Steel(steady_ut=(-12.0, 15.0, 0.0))
    on_roof = stream_of(
        simulate_plane(30, 180, SENSOR.without_iron(), seed=1, streams="M", steel=steel)
    ).samples
    wrong = fit_plane(on_roof, Corrections(DECLINATION))
    assert abs(float(angle_between(wrong.azimuth_deg, 180))) > 10
    away = holds((90 - DECLINATION.value_deg, 0, 0))
    both = {
        name: np.concatenate([getattr(on_roof, name), getattr(away, name)])
        for name in Samples.blank(0)
    }
    both["t_s"] = np.concatenate([on_roof.t_s, on_roof.t_s[-1] + 0.5 + away.t_s])
    right = fit_plane(Samples(**both), Corrections(DECLINATION), along_eaves=True)
    assert right.azimuth_deg == pytest.approx(180, abs=0.5)
    assert right.tilt_deg == pytest.approx(30, abs=0.5)
    assert right.figures["eaves_azimuth_deg"] == pytest.approx(90, abs=0.5)


def test_a_level_surface_has_no_azimuth_to_speak_of() -> None:
    level = fit_plane(holds((10, 0, 0.5)), Corrections(DECLINATION))
    assert level.azimuth_error_deg > 20
    assert level.checks[0].passed
    assert "hardly counts" in level.checks[0].why


def test_what_is_no_plane_is_refused() -> None:
    moving = stream_of(simulate_tumble(seed=1, streams="M", still_s=0.1, seconds_s=12)).samples
    with pytest.raises(InputError, match="never lies still"):
        fit_plane(moving.rows(slice(150, 500)), Corrections(DECLINATION))
    with pytest.raises(InputError, match="on its face"):
        fit_plane(holds((10, 180, 20)), Corrections(DECLINATION))
    with pytest.raises(InputError, match="cannot be of one surface"):
        fit_plane(holds((0, 0, 30), (0, 0, 60)), Corrections(DECLINATION))
    with pytest.raises(InputError, match="along the eaves"):
        fit_plane(holds((0, 0, 30)), Corrections(DECLINATION), along_eaves=True)


def test_without_calibration_the_azimuth_is_poor_and_says_what_to_do() -> None:
    laid = stream_of(simulate_plane(15, 180, SENSOR, seed=1, streams="MG")).samples
    plane = fit_plane(laid, replace(corrections_of(SENSOR), compass=None))
    assert not plane.checks[0].passed
    assert "calibrate the compass" in plane.checks[0].why
