"""Recordings of a point that are not as they should be: named, and never in the way."""

import json
import shlex
from dataclasses import replace

import pytest

from firmware_protocol import Identity, decode_sentence, encode

from .conftest import edited

SHIPPED = "20260514T064000Z.sweep"
LATER = "20260514T235900Z.sweep"


@pytest.fixture
def job(copy_job, tmp_path):
    return copy_job(tmp_path / "three alders")


def answer(run, job, point="meadow"):
    done = run("replay", job, point, "--set", "draws=0", "--json", "-")
    return done, json.loads(done.out) if done.out.startswith("{") else None


def altered(job, change):
    """The shipped sweep with other lines, unsealed; and where it lies."""
    path = job / "sweeps" / "meadow" / SHIPPED
    lines = path.read_bytes().splitlines(keepends=True)[:-1]
    path.write_bytes(b"".join(change(lines)))
    return path


def with_header(**told):
    def change(lines):
        header = json.loads(lines[1][2:]) | told
        return [lines[0], b"h " + json.dumps(header).encode() + b"\n", *lines[2:]]

    return change


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
    assert f"{begun}: not sealed: the recording was interrupted before anything came" in done.err
    assert after["planes"] == before["planes"]
    assert [one["file"] for one in after["recordings"]] == [SHIPPED, begun.name]
    (job / "sweeps" / "meadow" / SHIPPED).unlink()
    assert run("replay", job, "meadow").code in (2, 3)


def test_one_that_was_interrupted_later_is_told_and_counts(run, job):
    path = altered(job, lambda lines: lines)
    done, _ = answer(run, job)
    assert done.code == 0
    assert f"{path}: not sealed: the recording was interrupted" in done.err


def test_the_way_on_from_a_broken_seal_works_as_it_is_told(run, job):
    path = job / "sweeps" / "meadow" / SHIPPED
    path.write_bytes(path.read_bytes().replace(b'"observer"', b'"Observer"', 1))
    done, _ = answer(run, job)
    assert done.code == 3
    told = done.err.partition("alone: horizon-logger ")[2].strip()
    again = run(*shlex.split(told), "--set", "draws=0")
    assert again.code == 4
    assert "broken seal accepted" in again.err


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
    path = altered(job, with_header(**{key: value}))
    done, _ = answer(run, job)
    assert done.code == 3
    assert f"error: {path}: its header has {value:g} for {key}, outside" in done.err


def test_one_that_was_recorded_for_a_calibration_is_no_sweep(run, job):
    altered(job, with_header(purpose="compass"))
    done, _ = answer(run, job)
    assert done.code == 4
    assert "recording readable" in done.err
    assert "recorded for a calibration (compass), not as a sweep" in done.err


def test_what_is_left_out_is_not_even_read_and_a_span_of_it_is_of_no_effect(run, job):
    (job / "sweeps" / "meadow" / LATER).write_bytes(b"junk")
    edited(job, "exclude-span", recording=LATER, from_s=1.0, to_s=2.0)
    edited(job, "exclude-sweep", recording=LATER)
    done, result = answer(run, job)
    assert done.code == 0, done.err
    assert LATER not in [r["file"] for r in result["recordings"]]
    assert sum(LATER in step for step in result["horizon"]["steps"]) == 2


def test_one_recording_under_two_points_fails_a_check_of_both(run, job):
    """Whatever it is called: a point that is stored already is worked out again."""

    def stored():
        told = json.loads(run("replay", job, "meadow", "--json", "-").out)
        return {key: value for key, value in told.items() if key not in ("repeat", "key", "seal")}

    before = stored()
    copy = job / "sweeps" / "copse" / "20260514T170000Z.sweep"
    copy.parent.mkdir()
    copy.write_bytes((job / "sweeps" / "meadow" / SHIPPED).read_bytes())
    for point, other, name in (("meadow", "copse", SHIPPED), ("copse", "meadow", copy.name)):
        done, _ = answer(run, job, point)
        assert done.code == 4
        said = " ".join(done.err.split())
        assert f"recording of one point: {point}: {name} is a recording of {other} too" in said
    edited(job, "exclude-sweep", "copse", recording=copy.name)
    # The job has an edit more, and so another hash; the answer is the same.
    assert stored() == before


def other_board(line):
    """A line of a recording; where it tells which board sends, another one does."""
    kind, t, content = line.rstrip(b"\n").split(b" ", 2)
    if isinstance(sentence := decode_sentence(content), Identity):
        content = encode(replace(sentence, serial_number="0099"))[:-2]
    return b"%s %s %s\n" % (kind, t, content)


def test_two_boards_in_one_recording_each_get_their_own_calibrations(run, job):
    def change(lines):
        half = len(lines) // 2
        gap = lines[half].split(b" ")[1]
        lost = b'n %s {"link":"lost"}\nn %s {"link":"back"}\n' % (gap, gap)
        return [*lines[:half], lost, *map(other_board, lines[half:])]

    altered(job, change)
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
    other = other_board(next(line for line in lines if b"PHLGI" in line))
    spoilt = path.with_name("spoilt.sweep")
    spoilt.write_bytes(b"".join([*lines, other, *lines[-20:]]))
    done = run("calibrate", "compass", job, "--recording", spoilt)
    assert done.code == 3
    assert "boards sent in turn: another board answers" in done.err
