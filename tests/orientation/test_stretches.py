"""A recording longer than any sweep is fitted in stretches, and nobody can tell where they meet."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from logger.geometry import angle_between
from logger.orientation import (
    CompassCorrection,
    Corrections,
    Declination,
    Orientation,
    field_expected_at,
    orient,
)
from logger.orientation import stretches as module
from logger.recording.samples import Samples
from logger.simulation import (
    DEFAULT_SITE,
    DEFAULT_START,
    Operator,
    Sensor,
    scene_named,
    simulate_sweep,
)

from .made_up import samples_of

HERE = field_expected_at(DEFAULT_SITE, DEFAULT_START.date())
COMPASS = CompassCorrection(field_ut=HERE.field_ut, dip_deg=HERE.dip_deg)
CORRECTIONS = Corrections(Declination(0.0, 0.0, "none"), COMPASS)


@pytest.fixture(scope="module")
def samples() -> Samples:
    sensor = Sensor().without_iron()
    sweep = simulate_sweep(scene_named("street", 3), Operator(), sensor, seed=5, streams="MG")
    return samples_of(sweep)


@pytest.fixture(scope="module")
def whole(samples: Samples) -> Orientation:
    return orient(samples, CORRECTIONS)


@pytest.fixture(scope="module")
def cut(samples: Samples) -> Orientation:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(module, "MOST_ROWS", len(samples) // 3 - 1)
        patch.setattr(module, "OVERLAP", 500)
        fits = []
        fit = module.attitude_over_recording

        def counted(*given: Any) -> Any:
            fits.append(len(given[0]))
            return fit(*given)

        patch.setattr(module, "attitude_over_recording", counted)
        found = orient(samples, CORRECTIONS)
    quarter = len(samples) / 4
    assert fits == pytest.approx(
        [quarter + 500, quarter + 1000, quarter + 1000, quarter + 500], abs=2
    )
    return found


def test_stretches_agree_with_the_whole_and_nobody_sees_where_they_meet(
    whole: Orientation, cut: Orientation
) -> None:
    turned = angle_between(cut.sight.azimuth_deg, whole.sight.azimuth_deg)
    lifted = cut.sight.elevation_deg - whole.sight.elevation_deg
    assert np.abs(turned).max() < 0.5
    assert np.abs(lifted).max() < 0.2
    assert np.std(turned) < 0.2
    assert np.std(lifted) < 0.05
    # More than the sight itself moves between two rows, 0.05° is below any row's error.
    assert np.abs(np.diff(turned)).max() < 0.1
    assert np.abs(np.diff(lifted)).max() < 0.05
    # Shorter fits know the level less well and say so.
    before, after = whole.attitude.steady_level_error_deg, cut.attitude.steady_level_error_deg
    assert before is not None
    assert after is not None
    assert before < after < 4 * before


def test_a_stretch_without_a_field_takes_nothing_from_the_others(
    samples: Samples, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A dead magnetometer for half of the recording: that half has no direction, no more."""
    n = len(samples)
    dead = np.array(samples.field_ut)
    dead[: n // 2] = 0.0
    monkeypatch.setattr(module, "MOST_ROWS", n // 2)
    monkeypatch.setattr(module, "OVERLAP", 0)
    given = (samples.t_s, samples.rate_deg_s, samples.force_g, dead, np.ones(n, dtype=bool))
    found = module.attitude_in_stretches(*given)
    assert not found.known[: n // 2].any()
    assert found.known[n // 2 + 1 :].all()
    assert found.rate_bias_deg_s is not None
