"""Whatever the sight lines are, the answer is a horizon without invented or undefined values."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from logger.geometry import wrap360
from logger.horizon_fit import SightedSweep, horizon_from
from logger.orientation.sight_lines import SightLines
from logger.recording.samples import KeyPress, Note


def odd_pass(rng: np.random.Generator) -> SightedSweep:
    n = int(rng.choice([0, 1, 2, 3, 7, 20, 200, 1200]))
    t = np.arange(n) * 0.02
    if rng.random() < 0.5:
        t = np.sort(rng.uniform(0, rng.choice([0.0, 1.0, 60.0, 1e4]), n))
    kind = rng.integers(5)
    if kind == 0:
        azimuth, elevation = rng.uniform(0, 360, n), rng.uniform(-90, 90, n)
    elif kind == 1:
        size = rng.choice([0.01, 1.0, 20.0])
        azimuth = np.cumsum(rng.normal(0, size, n))
        elevation = np.clip(np.cumsum(rng.normal(0, size, n)), -90, 90)
    elif kind == 2:
        azimuth, elevation = np.full(n, 200.0), np.full(n, rng.choice([-90.0, 0.0, 90.0]))
    elif kind == 3:
        azimuth = np.linspace(0, rng.choice([5.0, 360.0, 2000.0]), n)
        elevation = np.where((azimuth // 3) % 2 == 0, rng.uniform(-5, 89), 90.0)
    else:
        azimuth = np.linspace(0, -700, n) + rng.normal(0, 0.3, n)
        elevation = 10 + rng.normal(0, 0.3, n)
    used = rng.random(n) < rng.choice([0.0, 0.5, 1.0])
    error = np.full(n, rng.choice([0.0, 0.1, 5.0, np.nan]))
    sight = SightLines(
        t,
        wrap360(np.where(used, azimuth, np.nan)),
        elevation,
        np.zeros(n),
        error,
        used,
        np.where(used, "", "no"),
    )
    times = np.sort(rng.uniform(-5, 70, rng.integers(0, 12)))
    keys = tuple(KeyPress(float(x), int(rng.integers(1, 3)), True) for x in times)
    notes = tuple(Note(float(x), str(rng.choice(["a", "b", ""])), "building") for x in times[::3])
    return SightedSweep(sight, keys, notes)


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 2**31), st.sampled_from([-90.0, 0.0, 46.0]))
def test_odd_sight_lines_give_a_sound_horizon(seed: int, latitude: float) -> None:
    rng = np.random.default_rng(seed)
    passes = [odd_pass(rng) for _ in range(rng.integers(1, 4))]
    result = horizon_from(passes, latitude)
    profile = result.profile
    assert np.isfinite(profile.elevation_deg[profile.known]).all()
    assert np.isfinite(profile.standard_error_deg[profile.known]).all()
    assert np.isnan(profile.elevation_deg[~profile.known]).all()
    assert all(check.value is None or np.isfinite(check.value) for check in result.checks)
