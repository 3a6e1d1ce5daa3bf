"""What the horizon room promises, on made-up sight paths whose skyline is known."""

from __future__ import annotations

import numpy as np

from logger.angles import wrap360
from logger.horizon import HorizonSettings, Pass, horizon_from
from logger.sightlines import SightLines


def swept(azimuth_deg: np.ndarray, elevation_deg: np.ndarray) -> SightLines:
    n = len(azimuth_deg)
    return SightLines(
        np.arange(n) * 0.02,
        wrap360(azimuth_deg),
        elevation_deg,
        np.zeros(n),
        np.full(n, 0.2),
        np.ones(n, dtype=bool),
        np.full(n, ""),
        heading_error_deg=0.4,
        level_error_deg=0.2,
    )


def wavy(azimuth_deg: np.ndarray) -> np.ndarray:
    return 12 + 5 * np.sin(np.radians(azimuth_deg)) + 2 * np.cos(np.radians(3 * azimuth_deg))


def to_and_fro(start_deg: float, end_deg: float, speed_deg_s: float = 8.0) -> np.ndarray:
    there = np.arange(start_deg, end_deg, speed_deg_s * 0.02)
    return np.concatenate([there, there[::-1]])


def with_noise(elevation_deg: np.ndarray, seed: int) -> np.ndarray:
    return elevation_deg + np.random.default_rng(seed).normal(0, 0.4, elevation_deg.size)


def test_a_smooth_skyline_comes_back_within_a_tenth_of_a_degree() -> None:
    path = to_and_fro(-5, 365)
    result = horizon_from(
        [Pass(swept(path, with_noise(wavy(path), 1)))], HorizonSettings(latitude_deg=46)
    )
    azimuth = np.arange(0, 360, 0.1)
    assert np.abs(result.profile.elevation_at(azimuth) - wavy(azimuth)).mean() < 0.1
    assert all(gate.passed for gate in result.gates)


def test_half_a_sweep_leaves_the_other_half_unmeasured_and_fails_a_gate() -> None:
    path = to_and_fro(90, 180)
    result = horizon_from([Pass(swept(path, wavy(path)))], HorizonSettings(latitude_deg=46))
    inside = (result.profile.azimuth_deg > 91) & (result.profile.azimuth_deg < 179)
    outside = (result.profile.azimuth_deg < 89) | (result.profile.azimuth_deg > 181)
    assert result.profile.known[inside].all()
    assert np.isnan(result.profile.elevation_deg[outside]).all()
    assert not result.profile.known[outside].any()
    failed = [gate for gate in result.gates if not gate.passed]
    assert [gate.gate for gate in failed] == ["sun-crossed sectors measured"]


def test_nothing_at_all_is_a_horizon_without_a_single_value() -> None:
    result = horizon_from([], HorizonSettings(latitude_deg=46))
    assert not result.profile.known.any()
    assert np.isnan(result.profile.elevation_deg).all()
    assert not result.gates[0].passed
