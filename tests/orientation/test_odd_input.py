"""Dead, stuck and broken sensors: unused rows with a reason, never a crash or a made-up value."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from logger.orientation import (
    CompassCorrection,
    Corrections,
    Declination,
    FieldReference,
    LevelCorrection,
    orient,
)
from logger.recording.samples import Samples

PLAIN = Corrections(Declination(3.0, 0.3, "given"))
WHOLE = Corrections(
    Declination(3.0, 0.3, "given"),
    CompassCorrection(rate_bias_deg_s=(0.0, 0.0, 0.0)),
    level=LevelCorrection(0.5, 0.5, 0.2, 0.1, 0.1, 0.1),
    field=FieldReference(48.0, 60.0),
)


def vectors(kind: str, n: int, rng: np.random.Generator) -> Any:
    noise = rng.normal(size=(n, 3))
    return {
        "none": np.full((n, 3), np.nan),
        "zero": np.zeros((n, 3)),
        "stuck": np.tile([20.0, 0.0, 43.0], (n, 1)),
        "upright": np.tile([0.0, 0.0, -1.0], (n, 1)),
        "noise": 30 * noise,
        "half": np.where(rng.random((n, 1)) < 0.5, np.nan, noise),
    }[kind]


@pytest.mark.parametrize(("raw_rows", "known"), [(1, 99), (49, 51), (50, 50), (100, 100)])
def test_what_most_rows_hold_decides_whose_attitude_it_is(raw_rows: int, known: int) -> None:
    """A single raw sentence does not take the board's own attitude of all other rows along."""
    raw = np.arange(100) < raw_rows
    columns = Samples.blank(100) | {
        "t_s": np.zeros(100),  # nothing for a gyro to carry
        "heading_deg": np.where(raw, np.nan, 40.0),
        "pitch_deg": np.where(raw, np.nan, 5.0),
        "field_ut": np.where(raw[:, None], [20.0, 0.0, 43.0], np.nan),
        "force_g": np.where(raw[:, None], [0.0, 0.0, -1.0], np.nan),
    }
    sight = orient(Samples(**columns), PLAIN).sight
    assert np.isfinite(sight.azimuth_deg).sum() == known


KINDS = st.sampled_from(["none", "zero", "stuck", "upright", "noise", "half"])


@settings(max_examples=150, deadline=None)
@given(KINDS, KINDS, KINDS, st.sampled_from([1, 2, 25, 120]), st.booleans(), st.integers(0, 99))
def test_every_row_has_a_direction_or_a_reason(
    field: str, force: str, rate: str, n: int, one_moment: bool, seed: int
) -> None:
    rng = np.random.default_rng(seed)
    columns = Samples.blank(n) | {
        "t_s": np.zeros(n) if one_moment else np.sort(rng.uniform(0, n / 50, n)),
        "field_ut": vectors(field, n, rng),
        "force_g": vectors(force, n, rng),
        "rate_deg_s": vectors(rate, n, rng) * 10,
    }
    for corrections in (PLAIN, WHOLE):
        sight = orient(Samples(**columns), corrections).sight
        assert np.isfinite(sight.azimuth_deg[sight.used]).all()
        assert np.isfinite(sight.standard_error_deg[sight.used]).all()
        assert all(sight.reason[~sight.used])
        if "none" in (field, force) or "zero" in (field, force):
            # Hardware that sends nothing cannot say where it points.
            assert corrections is WHOLE or set(sight.reason) == {"no direction"}
