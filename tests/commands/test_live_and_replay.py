"""A sweep over a real port, and its replay, are one and the same."""

import hashlib
import json
from dataclasses import fields

import numpy as np
import pytest

from logger import __version__
from logger.horizon_csv import read_horizon_csv
from logger.settings import Settings

BYTE_FOR_BYTE = tuple(map(int, np.__version__.split(".")[:2])) >= (2, 4)
"""Older numerical libraries were seen to differ in the tenth decimal between two processes."""


def same(one, other):
    """The same words and numbers; with older numerical libraries within 1e-7."""
    if BYTE_FOR_BYTE:
        return one == other
    if isinstance(one, dict) and isinstance(other, dict):
        return one.keys() == other.keys() and all(same(one[key], other[key]) for key in one)
    if isinstance(one, list) and isinstance(other, list):
        return len(one) == len(other) and all(map(same, one, other))
    if isinstance(one, float) and isinstance(other, float):
        return one == pytest.approx(other, abs=1e-7, rel=1e-7)
    return one == other


def test_a_sweep_over_a_port_is_answered_as_its_replay_is(ridge, replayed):
    stored = json.loads((ridge.job / "results" / "spot.json").read_text())
    for part in ("horizon", "planes"):
        assert same(replayed.result[part], stored[part])


def test_the_ridge_comes_out_within_0_6_degrees_of_the_truth(ridge, replayed):
    got = replayed.result["horizon"]
    true = read_horizon_csv(ridge.truth).elevation_at(got["azimuth_deg"])
    assert all(got["measured"])
    assert np.abs(np.array(got["elevation_deg"]) - true).mean() <= 0.6


def test_a_replay_gives_the_same_bytes_twice(run, ridge, replayed):
    again = run("replay", ridge.recording, "--job", ridge.job, "--json", "-").out
    if BYTE_FOR_BYTE:
        assert again == replayed.ran.out
    assert same(json.loads(again), replayed.result)


def test_a_result_holds_no_nan_and_says_what_it_came_from(ridge, replayed):
    def refuse(constant):
        raise AssertionError(constant)

    result = json.loads(replayed.ran.out, parse_constant=refuse)
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


def test_the_safety_notice_comes_before_a_sweep(ridge):
    assert ridge.said.index("Never look at the sun") < ridge.said.index("recording ")


def test_every_sample_can_be_looked_at(replayed):
    head, *rows = replayed.samples
    assert head == "t_s,azimuth_deg,elevation_deg,roll_deg,used,reason"
    counted = replayed.result["samples"]
    assert len(rows) == counted["read"]
    assert sum(row.split(",")[4] == "1" for row in rows) == counted["used"]


def test_a_given_declination_turns_the_horizon(run, ridge, replayed):
    by_model = replayed.result["declination"]["value_deg"]
    more = ("--job", ridge.job, "--json", "-", "--declination", by_model + 10)
    found = json.loads(run("replay", ridge.recording, *more).out)
    assert found["declination"]["source"] == "given by the user"
    plain, turned = replayed.result["horizon"], found["horizon"]
    moved = np.interp(100, plain["azimuth_deg"], plain["elevation_deg"])
    assert np.interp(110, turned["azimuth_deg"], turned["elevation_deg"]) == pytest.approx(
        moved, abs=0.15
    )
