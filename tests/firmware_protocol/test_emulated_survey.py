"""A whole survey through the emulated board, beside the same scene from the Python virtual board.

Calibrations are recorded as fast as the emulator runs; the sweep is taken live, by the command,
over the emulated board's pseudo-terminal.
"""

import datetime as dt
import json
from dataclasses import replace

import emulated_board
from click.testing import CliRunner

from firmware_protocol import Decoder, Sound, Unknown
from logger.cli import main
from logger.recording import RecordingWriter
from logger.simulation import (
    Operator,
    Sensor,
    scene_named,
    simulate_level,
    simulate_sweep,
    simulate_tumble,
)

START_MS = 0.0
"""The board's time at which the operator's motion begins."""

FIT = (0, 4)
"""One hurried pass over the sunny side fails the checks for coverage and for a second look."""

SEED = 11
SENSOR = Sensor(individual=SEED, index_error_deg=0.8, collimation_error_deg=0.5)
SCENE = scene_named("ridge", SEED)
HURRIED = replace(Operator.calm(), passes=1, sectors=((80.0, 280.0),), speed_deg_s=14.0, pauses=0)


def exposure(simulated):
    measured = simulated.measured
    motion = emulated_board.motion_rows(
        measured.t_s.tolist(),
        measured.field_ut.tolist(),
        measured.force_g.tolist(),
        measured.rate_deg_s.tolist(),
        measured.temperature_c.tolist(),
        START_MS,
    )
    keys = [
        (START_MS + press.t_s * 1000, f"{'press' if press.down else 'release'} {press.key}")
        for press in simulated.motion.keys
    ]
    return motion, keys


def record(path, header, timed_chunks):
    decoder = Decoder()
    with RecordingWriter(path, header) as writer:
        for t_s, chunk in timed_chunks:
            writer.add(t_s, decoder.feed(chunk))
    assert decoder.refused.total() == 0
    assert decoder.lost == 0
    return path


def python_recording(path, simulated):
    return record(path, simulated.header, simulated.chunks)


def emulated_recording(path, simulated, board):
    motion, keys = exposure(simulated)
    seconds = START_MS / 1000 + simulated.duration_s + 0.05
    sent = emulated_board.run(board, seconds, motion, keys).sent
    return record(path, simulated.header, by_the_boards_clock(sent))


def by_the_boards_clock(sent):
    """Each sentence at the moment that it tells."""
    t_s = 0.0
    for piece in Decoder().feed(sent):
        assert isinstance(piece, Sound)
        assert not isinstance(piece.sentence, Unknown)
        t_s = getattr(piece.sentence, "t_ms", t_s * 1000) / 1000
        yield t_s, piece.raw + b"\r\n"


def told(*arguments, good=(0,)):
    done = CliRunner().invoke(main, [str(argument) for argument in arguments])
    assert done.exit_code in good, f"{arguments}\n{done.output}\n{done.exception!r}"
    return done.stdout


def new_job(folder, site):
    told("new", folder, "--latitude", site["latitude"], "--longitude", site["longitude"],
         "--altitude", site["elevation_m"])  # fmt: skip
    return folder


def answer(path):
    document = json.loads(path.read_bytes())
    assert document["samples"]["used"] > 500
    calibrations = [check for check in document["quality"] if "calibration" in check["check"]]
    assert calibrations
    assert all(check["passed"] for check in calibrations)
    (plane,) = document["planes"]
    # Half of what the sun crosses was not swept: there are bounds, and no value.
    assert plane["solar_access"]["annual"]["value"] is None
    return plane["solar_access"]["annual"]["survey_high"]


def calibrated(job, recordings):
    for purpose, recording in recordings.items():
        told("calibrate", purpose, job, "--recording", recording)


def test_a_whole_survey_gives_the_same_access_as_the_virtual_board(board, tmp_path):
    now = dt.datetime.now(dt.UTC)
    shared = {"sensor": SENSOR, "seed": SEED}
    tumble = simulate_tumble(started=now - dt.timedelta(minutes=9), **shared)
    level = simulate_level(started=now - dt.timedelta(minutes=6), **shared)
    sweep = simulate_sweep(SCENE, HURRIED, started=now, **shared)

    emulated = new_job(tmp_path / "emulated", sweep.header)
    calibrated(
        emulated,
        {
            "compass": emulated_recording(tmp_path / "tumble-e.sweep", tumble, board),
            "level": emulated_recording(tmp_path / "level-e.sweep", level, board),
        },
    )
    motion, keys = exposure(sweep)
    with emulated_board.served(board, motion, keys, wait=True) as (port, _):
        told("sweep", emulated, "check", "--port", port, "--json", tmp_path / "live.json", good=FIT)
    (recording,) = (emulated / "sweeps" / "check").glob("*.sweep")
    told("replay", recording, "--job", emulated, "--json", tmp_path / "replayed.json", good=FIT)

    virtual = new_job(tmp_path / "virtual", sweep.header)
    calibrated(
        virtual,
        {
            "compass": python_recording(tmp_path / "tumble-p.sweep", tumble),
            "level": python_recording(tmp_path / "level-p.sweep", level),
        },
    )
    twin = python_recording(tmp_path / "sweep-p.sweep", sweep)
    told("replay", twin, "--job", virtual, "--json", tmp_path / "virtual.json", good=FIT)

    live, replayed, expected = (
        answer(tmp_path / f"{name}.json") for name in ("live", "replayed", "virtual")
    )
    assert live == replayed
    assert 0.5 < expected < 0.99  # the scene shades something
    assert abs(replayed - expected) <= 0.003
