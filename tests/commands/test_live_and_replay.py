"""A sweep over a real port, and its replay, are one and the same."""

import hashlib
import json
import sys
from dataclasses import fields

import numpy as np
import pytest

from logger import __version__
from logger.horizon_csv import read_horizon_csv
from logger.recording import read_recording
from logger.settings import Settings

BYTE_FOR_BYTE = tuple(map(int, np.__version__.split(".")[:2])) >= (2, 4)
"""Older numerical libraries were seen to differ in the tenth decimal between two processes."""


def same(one, other):
    """The same words and numbers; with older numerical libraries within 1e-9."""
    if BYTE_FOR_BYTE:
        return one == other
    if isinstance(one, dict) and isinstance(other, dict):
        return one.keys() == other.keys() and all(same(one[key], other[key]) for key in one)
    if isinstance(one, list) and isinstance(other, list):
        return len(one) == len(other) and all(map(same, one, other))
    if isinstance(one, float) and isinstance(other, float):
        return one == pytest.approx(other, abs=1e-9, rel=1e-9)
    return one == other


def until_the_trigger(path):
    sentences = [raw for _, raw in read_recording(path).sentences]
    keys = [i for i, raw in enumerate(sentences) if raw.startswith(b"$PHLGK")]
    return sentences[: keys[0] + 1]


def swept(run, board, job, point, *how):
    with board("--no-iron", "--speed", 0, "--once", "--scene", "street", *how) as port:
        done = run("sweep", job, point, "--port", port)
    assert done.code == 4, done.err
    assert "compass calibration" in done.err
    (path,) = (job / "sweeps" / point).glob("*.sweep")
    return path


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no pty")
def test_pty_and_tcp_record_the_same_sentences_and_replay_to_the_same_profile(run, board, job):
    by_pty = swept(run, board, job, "by pty", "--pty")
    by_tcp = swept(run, board, job, "by tcp", "--tcp", "127.0.0.1:0")
    # Where one read of the port ends after the trigger is chance.
    assert until_the_trigger(by_pty) == until_the_trigger(by_tcp)
    for path, point in ((by_pty, "by pty"), (by_tcp, "by tcp")):
        replayed = json.loads(run("replay", path, "--job", job, "--json", "-").out)
        stored = json.loads((job / "results" / f"{point}.json").read_text())
        for part in ("horizon", "planes"):
            assert same(replayed[part], stored[part])


def test_the_ridge_comes_out_within_0_6_degrees_of_the_truth(run, ridge):
    recording, truth = ridge.recording, ridge.truth
    got = json.loads(run("replay", recording, "--job", ridge.job, "--json", "-").out)["horizon"]
    true = read_horizon_csv(truth).elevation_at(got["azimuth_deg"])
    assert all(got["measured"])
    assert np.abs(np.array(got["elevation_deg"]) - true).mean() <= 0.6


def test_a_replay_gives_the_same_bytes_twice(run, ridge):
    first, second = (
        run("replay", ridge.recording, "--job", ridge.job, "--json", "-").out for _ in range(2)
    )
    if BYTE_FOR_BYTE:
        assert first == second
    assert same(json.loads(first), json.loads(second))


def test_a_result_holds_no_nan_and_says_what_it_came_from(run, ridge):
    def refuse(constant):
        raise AssertionError(constant)

    text = run("replay", ridge.recording, "--job", ridge.job, "--json", "-").out
    result = json.loads(text, parse_constant=refuse)
    assert result["schema"] == "horizon-logger result 2"
    assert result["program"] == f"horizon-logger {__version__}"
    assert "WMM2025" in result["declination"]["source"]
    (recording,) = result["recordings"]
    content = ridge.recording.read_bytes()
    assert recording["sha256"] == hashlib.sha256(content).hexdigest()
    assert set(result["settings"]) == {one.name for one in fields(Settings)}
    assert result["settings"]["year"] == 2026
    assert result["sky"]["kind"] == "unknown"
    assert result["sky"]["source"] == "not known: drawn between clear and overcast"


def test_the_trigger_seals_the_recording(ridge):
    assert read_recording(ridge.recording).sealed


def test_the_safety_notice_comes_before_a_sweep(run, board, job):
    with board("--tcp", "127.0.0.1:0", "--speed", 0, "--no-iron") as port:
        done = run("sweep", job, "spot", "--port", port)
    notice, recording = done.err.index("Never look at the sun"), done.err.index("recording ")
    assert notice < recording


def test_every_sample_can_be_looked_at(run, ridge, tmp_path):
    table = tmp_path / "samples.csv"
    done = run(
        "replay",
        ridge.recording,
        "--job",
        ridge.job,
        "--samples",
        table,
        "--json",
        tmp_path / "r.json",
    )
    assert done.code == 0
    head, *rows = table.read_text().splitlines()
    assert head == "t_s,azimuth_deg,elevation_deg,roll_deg,used,reason"
    counted = json.loads((tmp_path / "r.json").read_text())["samples"]
    assert len(rows) == counted["read"]
    assert sum(row.split(",")[4] == "1" for row in rows) == counted["used"]


def test_a_given_declination_turns_the_horizon(run, ridge):
    def horizon(*extra):
        found = json.loads(
            run("replay", ridge.recording, "--job", ridge.job, "--json", "-", *extra).out
        )
        return found["declination"], found["horizon"]

    ours, _ = horizon()
    given, turned = horizon("--declination", ours["value_deg"] + 10)
    assert given["source"] == "given by the user"
    _, plain = horizon("--declination", ours["value_deg"])
    moved = np.interp(100, plain["azimuth_deg"], plain["elevation_deg"])
    assert np.interp(110, turned["azimuth_deg"], turned["elevation_deg"]) == pytest.approx(
        moved, abs=0.15
    )
