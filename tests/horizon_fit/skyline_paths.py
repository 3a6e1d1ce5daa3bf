"""Made-up sight paths along skylines that are known exactly, for the tests of this room."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from logger.arrays import Floats
from logger.geometry import wrap360
from logger.horizon_fit import HorizonResult, SightedSweep, horizon_from
from logger.orientation import Corrections, declination_at, orient
from logger.orientation.sight_lines import SightLines
from logger.recording import StreamBuilder
from logger.settings import Settings
from logger.simulation import DEFAULT_SITE, DEFAULT_START

SPACING_S = 0.02

LATITUDE = 46.0


def fused(*recorded: SightLines | SightedSweep, **more: Any) -> HorizonResult:
    """The horizon from sweeps at 46 degrees north."""
    sweeps = [SightedSweep(one) if isinstance(one, SightLines) else one for one in recorded]
    return horizon_from(sweeps, **{"latitude_deg": LATITUDE, **more})


def oriented(simulated: Any, use_gyro: bool = True) -> SightedSweep:
    """A simulated sweep of a board that nobody calibrated, as the house orients it."""
    builder = StreamBuilder()
    for t_s, chunk in simulated.chunks:
        builder.feed(t_s, chunk)
    stream = builder.stream()
    corrections = Corrections(declination_at(DEFAULT_SITE, DEFAULT_START.date()))
    found = orient(stream.samples, corrections, Settings(use_gyro=use_gyro)).sight
    return SightedSweep(found, stream.keys, simulated.notes)


def sight(
    t_s: Floats, azimuth_deg: Floats, elevation_deg: Floats, error_deg: float = 0.1
) -> SightLines:
    n = len(t_s)
    return SightLines(
        t_s,
        wrap360(azimuth_deg),
        elevation_deg,
        np.zeros(n),
        np.full(n, error_deg),
        np.ones(n, dtype=bool),
        np.full(n, ""),
        heading_error_deg=0.4,
        level_error_deg=0.2,
    )


def followed(
    azimuth_deg: list[float] | Floats,
    elevation_deg: list[float] | Floats,
    speed_deg_s: float = 8.0,
    climb_deg_s: float = 15.0,
    passes: int = 2,
) -> tuple[Floats, Floats, Floats]:
    """Time, azimuth and elevation of a sight that follows a line forth, back, forth..."""
    a, e = np.asarray(azimuth_deg, dtype=float), np.asarray(elevation_deg, dtype=float)
    a = np.concatenate([a if k % 2 == 0 else a[::-1] for k in range(passes)])
    e = np.concatenate([e if k % 2 == 0 else e[::-1] for k in range(passes)])
    cosine = np.cos(np.radians((e[1:] + e[:-1]) / 2))
    step = np.hypot(np.diff(a) * cosine / speed_deg_s, np.diff(e) / climb_deg_s)
    at = np.concatenate([[0.0], np.cumsum(step)])
    t = np.arange(0.0, at[-1], SPACING_S)
    return t, np.interp(t, at, a), np.interp(t, at, e)


def tremor(n: int, seed: int, rms_deg: float = 0.3) -> tuple[Floats, Floats]:
    """Shaking at about 1.5 Hz along both axes."""
    rng = np.random.default_rng(seed)
    hz = np.fft.rfftfreq(n, SPACING_S)
    gain = np.exp(-0.5 * ((hz - 1.5) / 0.25) ** 2)
    both = [np.fft.irfft(np.fft.rfft(rng.normal(size=n)) * gain, n) for _ in range(2)]
    return both[0] * rms_deg / both[0].std(), both[1] * rms_deg / both[1].std()


def swept(
    azimuth_deg: list[float] | Floats,
    elevation_deg: list[float] | Floats,
    seed: int = 0,
    tremor_deg: float = 0.3,
    lag_s: float = 0.0,
    drift_deg_per_min: float = 0.0,
    slow_deg: float = 0.0,
    **how: float,
) -> SightLines:
    t, a, e = followed(azimuth_deg, elevation_deg, **how)  # type: ignore[arg-type]
    aside, up = tremor(len(t), seed, tremor_deg)
    a = a + aside / np.cos(np.radians(e))
    a = np.interp(t - lag_s, t, a) + drift_deg_per_min * (t - t.mean()) / 60.0
    rng = np.random.default_rng([seed, 9])
    waves = np.arange(1, 9)[:, None] * (t / t[-1] * 2 * np.pi)
    size, phase = rng.normal(size=8), rng.uniform(0, 2 * np.pi, 8)
    slow = slow_deg / 2 * (size[:, None] * np.sin(waves + phase[:, None])).sum(axis=0)
    return sight(t, a, e + up + slow)


def shaken(
    azimuth_deg: Floats, elevation_deg: Floats, seed: int, rms_deg: float = 0.3, error: float = 0.1
) -> SightLines:
    """A path row by row, every `SPACING_S`, by a hand that trembles."""
    aside, up = tremor(len(azimuth_deg), seed, rms_deg)
    aside = aside / np.cos(np.radians(elevation_deg))
    t = np.arange(len(azimuth_deg)) * SPACING_S
    return sight(t, azimuth_deg + aside, elevation_deg + up, error)


def wavy(azimuth_deg: Floats) -> Floats:
    a = np.radians(azimuth_deg)
    return 12 + 5 * np.sin(a) + 3 * np.cos(3 * a + 1) + np.sin(8 * a)


def wavy_line(start: float = -5.0, end: float = 365.0) -> tuple[Floats, Floats]:
    a = np.arange(start, end + 0.1, 0.25)
    return a, wavy(a)


BLOCKS = ((40.0, 70.0, 20.0), (150.0, 151.4, 35.0), (170.0, 215.0, 26.0), (300.0, 340.0, 15.0))
"""From, to and height of blocks on level ground at 6 degrees; the second is a mast."""


def blocks_line() -> tuple[list[float], list[float]]:
    azimuth, elevation = [-5.0], [6.0]
    for start, end, height in BLOCKS:
        azimuth += [start, start, end, end]
        elevation += [6.0, height, height, 6.0]
    return [*azimuth, 365.0], [*elevation, 6.0]


def blocks(azimuth_deg: Floats) -> Floats:
    result = np.full(np.shape(azimuth_deg), 6.0)
    for start, end, height in BLOCKS:
        result[(azimuth_deg > start) & (azimuth_deg < end)] = height
    return result


FINE = np.arange(0.0, 360.0, 0.1) + 0.05


def off(result: HorizonResult, truth: Callable[[Floats], Floats]) -> Floats:
    """How far a horizon is from the truth, at `FINE` azimuths."""
    return result.profile.elevation_at(FINE) - truth(FINE)


def failed(result: HorizonResult) -> list[str]:
    return [check.check for check in result.checks if not check.passed]
