"""Recordings of a point that are not as they should be: named, and never in the way."""

import json
from dataclasses import replace

import pytest

from firmware_protocol import Identity, decode_sentence, encode

SHIPPED = "20260514T064000Z.sweep"


@pytest.fixture
def job(copy_job, tmp_path):
    return copy_job(tmp_path / "alders")


def answer(run, job):
    done = run("replay", job, "meadow", "--set", "draws=0", "--json", "-")
    return done, json.loads(done.out) if done.out.startswith("{") else None


@pytest.mark.parametrize(
    "content",
    [b"", b'horizon-logger recording 1\nh {"st', bytes(4096), b"horizon-lo" + bytes(4086)],
    ids=["empty", "half a header", "zeros", "half a first line and zeros"],
)
def test_one_that_was_interrupted_at_its_start_is_named_and_left_out(run, job, content):
    _, before = answer(run, job)
    begun = job / "sweeps" / "meadow" / "20260514T070000Z.sweep"
    begun.write_bytes(content)
    done, after = answer(run, job)
    assert done.code == 0
    assert f"{begun}: " in done.err
    assert "not sealed: the recording was interrupted before anything came" in done.err
    assert after["planes"] == before["planes"]
    assert [one["file"] for one in after["recordings"]] == [SHIPPED, begun.name]
    (job / "sweeps" / "meadow" / SHIPPED).unlink()
    assert run("replay", job, "meadow").code in (2, 3)


@pytest.mark.parametrize(
    ("said", "options", "told"),
    [
        ('"latitude":1e308,"longitude":14.5', (), "latitude 1e+308 is outside -90 to 90"),
        ('"latitude":46,"longitude":1445', (), "longitude 1445 is outside -180 to 180"),
        ('"elevation_m":-1e6', ("--latitude", 46, "--longitude", 14), "altitude -1e+06 is outside"),
    ],
)
def test_a_place_that_is_none_is_told_with_the_recording_that_says_it(
    run, tmp_path, said, options, told
):
    path = tmp_path / "odd.sweep"
    path.write_text(f'horizon-logger recording 1\nh {{"started":"2026-05-14T08:12:31Z",{said}}}\n')
    done = run("replay", path, *options)
    assert done.code == 3
    assert f"error: {path}: {told}" in done.err
    assert "try: the recording's header says so" in done.err


@pytest.mark.parametrize(
    ("key", "value"),
    [("east_m", 1e300), ("up_m", -1e9), ("sight_height_m", -5), ("position_error_m", -1)],
)
def test_a_place_that_no_point_can_have_is_told_with_its_recording(run, job, key, value):
    path = job / "sweeps" / "meadow" / SHIPPED
    lines = path.read_bytes().splitlines(keepends=True)[:-1]
    header = json.loads(lines[1][2:]) | {key: value}
    lines[1] = b"h " + json.dumps(header).encode() + b"\n"
    path.write_bytes(b"".join(lines))
    done, _ = answer(run, job)
    assert done.code == 3
    assert f"error: {path}: its header has {value:g} for {key}, outside" in done.err


def test_one_that_was_recorded_for_a_calibration_is_no_sweep(run, job):
    path = job / "sweeps" / "meadow" / SHIPPED
    lines = path.read_bytes().splitlines(keepends=True)[:-1]
    lines[1] = lines[1].replace(b'"purpose":"sweep"', b'"purpose":"compass"')
    assert b"compass" in lines[1]
    path.write_bytes(b"".join(lines))
    done, _ = answer(run, job)
    assert done.code == 4
    assert "recording readable" in done.err
    assert "recorded for a calibration (compass), not as a sweep" in done.err


def test_two_boards_in_one_recording_each_get_their_own_calibrations(run, job):
    path = job / "sweeps" / "meadow" / SHIPPED
    lines = path.read_bytes().splitlines(keepends=True)[:-1]
    half = len(lines) // 2
    second = []
    for line in lines[half:]:
        kind, t, content = line.rstrip(b"\n").split(b" ", 2)
        if isinstance(sentence := decode_sentence(content), Identity):
            content = encode(replace(sentence, serial_number="0099"))[:-2]
        second.append(b"%s %s %s\n" % (kind, t, content))
    gap = lines[half].split(b" ")[1]
    lost = b'n %s {"link":"lost"}\nn %s {"link":"back"}\n' % (gap, gap)
    path.write_bytes(b"".join([*lines[:half], lost, *second]))
    done, document = answer(run, job)
    assert done.code == 4
    first, other = (one["used"] for one in document["calibrations"])
    assert {used["kind"] for used in first} >= {"compass", "level"}
    assert other == []
    failed = {check["check"] for check in document["quality"] if not check["passed"]}
    assert {"one board", "compass calibration"} <= failed
    assert "another board answers" in done.err
    assert [one["file"] for one in document["recordings"]] == [SHIPPED]


def test_a_calibration_with_two_boards_is_none(run, job):
    (path,) = (job / "calibrations").glob("*compass.sweep")
    lines = path.read_bytes().splitlines(keepends=True)[:-1]
    named = next(line for line in lines if b"PHLGI" in line)
    sentence = decode_sentence(named.rstrip(b"\n").split(b" ", 2)[2])
    t = lines[-1].split(b" ")[1]
    other = b"s %s %s\n" % (t, encode(replace(sentence, serial_number="0099"))[:-2])
    spoilt = path.with_name("spoilt.sweep")
    spoilt.write_bytes(b"".join([*lines, other, *lines[-20:]]))
    done = run("calibrate", "compass", job, "--recording", spoilt)
    assert done.code == 3
    assert "boards sent in turn: another board answers" in done.err
