"""Invented hills as tiles, and jobs swept there by the virtual board."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from pathlib import Path

import numpy as np
from invented_hills import ridge_part, turning

from logger.job import calibration_path, create_job, read_job, sweep_path
from logger.recording import load_stream, write_recording
from logger.simulation import (
    DEFAULT_SITE,
    DEFAULT_START,
    Operator,
    Sensor,
    simulate_sweep,
    simulate_tumble,
)
from logger.simulation.scenery import _street_parts, composed
from logger.simulation.terrain import Ground, hgt_tile
from logger.survey.calibrations import Wanted, calibrate, keep
from logger.terrain import far_horizon, read_heights

SITE = DEFAULT_SITE
TILES = ((45, 14), (46, 14))
EYE_M = SITE.altitude_m + 1.6


def write_tiles(folder: Path, hills: Ground) -> Path:
    folder.mkdir(parents=True, exist_ok=True)
    for south, west in TILES:
        (folder / f"N{south}E{west:03d}.hgt").write_bytes(hgt_tile(hills, south, west))
    return folder


def far_of(tiles: Path):
    """The far horizon of the site."""
    heights = read_heights(tiles, SITE, 151_000.0)
    return far_horizon(heights, SITE.latitude_deg, SITE.longitude_deg, EYE_M, 9.7)


def write(path: Path, simulated) -> Path:
    write_recording(path, simulated.header, simulated.chunks)
    return path


def swept_job(folder: Path, tiles: Path, turn_deg: float, street: bool = False, seed: int = 1):
    """A job with one point, swept below the tiles' skyline while steel turned the compass."""
    job = create_job(folder, SITE, name="An invented valley")
    sensor = Sensor(individual=seed)
    started = DEFAULT_START
    tumble = simulate_tumble(sensor=sensor, started=started, streams="MG", seed=seed)
    recording, stream = load_stream(write(calibration_path(job, "compass", started), tumble))
    keep(job, recording, calibrate(job, recording, stream, Wanted("compass")))
    far = far_of(tiles)
    parts = _street_parts(np.random.default_rng(seed)) if street else []
    scene = composed("valley", ridge_part("far hills", far.azimuth_deg, far.elevation_deg), parts)
    scene = replace(scene, steel=turning(turn_deg, SITE, DEFAULT_START.date()))
    later = started + dt.timedelta(minutes=10)
    swept = simulate_sweep(scene, Operator.calm(), sensor, SITE, later, seed, streams="MG")
    write(sweep_path(job, "yard", later), swept)
    return read_job(folder)
