"""Logs of other programs and boats, whatever bytes they hold."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from firmware_protocol import Attitude, encode, framed
from logger.errors import InputError, UsageError
from logger.recording import StreamBuilder, load_stream
from logger.recording.decode import HOLD_S, jumps_and_back
from logger.recording.nmea_log import parse_plain_log

HEADINGS = [framed(b"HCHDM,%d.5,M" % h) for h in range(90, 130)]
LOG = framed(b"YXXDR,A,-2.4,D,PITCH,A,1.1,D,ROLL") + b"".join(HEADINGS)


def headings(content, rate_hz=10.0):
    return list(parse_plain_log(content, "a.log", rate_hz).samples.heading_deg)


@pytest.mark.parametrize(
    "content",
    [
        LOG,
        LOG.replace(b"\r\n", b"\n"),
        b"\xef\xbb\xbf" + LOG,
        LOG.replace(b"\r\n", b"\r\n\0"),
        b"\0" * 100 + LOG,
        LOG.rstrip(b"\r\n"),
        LOG.replace(b"$", b"08:12:31.25 $"),
        LOG.replace(b"\r\n", b"\r\n\r\n# remark with $ and *\r\n"),
    ],
    ids=["CR LF", "LF", "byte order mark", "NUL ends", "NUL start", "no end", "dated", "remarks"],
)
def test_the_same_headings_come_out_however_the_log_was_kept(content):
    assert headings(content) == pytest.approx(np.arange(90, 130) + 0.5)


def test_headings_are_counted_and_pitch_and_roll_hold_for_two_seconds():
    got = parse_plain_log(LOG, "x", 10).samples
    assert got.t_s == pytest.approx(np.arange(40) / 10)
    held = np.arange(40) <= HOLD_S * 10
    np.testing.assert_array_equal(got.pitch_deg, np.where(held, -2.4, np.nan))
    np.testing.assert_array_equal(got.roll_deg, np.where(held, 1.1, np.nan))


@pytest.mark.parametrize(
    ("body", "heading", "true", "variation"),
    [
        # Deviation is applied, variation only reported.
        (b"HCHDG,98.3,2.0,W,12.6,E", 96.3, False, 12.6),
        (b"GPHDT,274.07,T", 274.07, True, np.nan),
        (b"HCHDM,9.5,M", 9.5, False, np.nan),
    ],
)
def test_what_a_heading_is_from(body, heading, true, variation):
    got = parse_plain_log(framed(body), "x", 1).samples
    assert (got.heading_deg[0], got.heading_is_true[0]) == (pytest.approx(heading), true)
    np.testing.assert_equal(got.variation_deg[0], variation)


@pytest.mark.parametrize(
    ("rate_hz", "why"),
    [(None, "tells no times"), *((hz, "no sense") for hz in (0.0, -1.0, np.nan, np.inf, 1001.0))],
)
def test_no_rate_or_one_without_sense_is_refused(rate_hz, why):
    with pytest.raises(UsageError, match=why):
        parse_plain_log(LOG, "x", rate_hz)


def test_a_log_of_our_own_sentences_needs_no_rate_and_keeps_the_boards_time():
    log = b"".join(encode(Attitude(n, 7000 + 20 * n, 9000, 0, 0, 1)) for n in range(50))
    log += b"".join(encode(Attitude(n, 20 * n, 9000, 0, 0, 1)) for n in range(50))  # a reset
    t = parse_plain_log(log, "x", None).samples.t_s
    assert t[:50] == pytest.approx(np.arange(50) * 0.02)
    assert t[50:] == pytest.approx(t[49] + np.arange(50) * 0.02)


def test_the_first_line_alone_makes_a_recording(tmp_path):
    log = tmp_path / "a.sweep"
    log.write_bytes(LOG)
    assert len(load_stream(log, rate_hz=10)[1].samples) == 40
    recording = tmp_path / "a.log"
    recording.write_bytes(b"horizon-logger recording 1\nh {}\ns 0.1 " + HEADINGS[0][:-2] + b"\n")
    assert len(load_stream(recording)[1].samples) == 1


@pytest.mark.parametrize(
    ("content", "why"),
    [
        (b"\0" * 5000, "neither a recording nor a log of headings"),
        ("$HCHDM,10.0,M*2F\r\n".encode("utf-16"), "neither a recording nor a log of headings"),
        (b"$" * 5000, "more than 1000 sentences, no sweep is that long"),
    ],
    ids=["zeros", "UTF-16", "sentence starts"],
)
def test_a_file_without_headings_is_refused_as_such(content, why, monkeypatch):
    monkeypatch.setattr("logger.recording.nmea_log.MOST_RECORDS", 1000)
    with pytest.raises(InputError, match=why):
        parse_plain_log(content, "x", 10)


@given(st.binary(max_size=400), st.sampled_from([None, 10.0]))
def test_any_bytes_give_samples_or_one_sentence(content, rate_hz):
    try:
        stream = parse_plain_log(content, "x", rate_hz)
    except (InputError, UsageError):
        return
    assert len(stream.samples) > 0


# --- Plausibility: a bare XOR misses one double error in twenty ---


def test_a_heading_that_jumps_away_and_back_is_not_used_and_counted():
    log = b"".join([*HEADINGS[:20], framed(b"HCHDM,9.5,M"), *HEADINGS[21:]])
    stream = parse_plain_log(log, "x", 10)
    assert np.isnan(stream.samples.heading_deg[20])
    assert np.isfinite(np.delete(stream.samples.heading_deg, 20)).all()
    assert stream.refused == {"a jump there and back": 1}


def test_a_pitch_that_jumps_holds_for_no_heading():
    pitches = [b"2.0"] * 9
    pitches[4] = b"20"
    log = b"".join(
        framed(b"YXXDR,A,%s,D,PITCH" % pitch) + HEADINGS[2 * i] + HEADINGS[2 * i + 1]
        for i, pitch in enumerate(pitches)
    )
    pitch = parse_plain_log(log, "x", 10).samples.pitch_deg
    assert list(np.flatnonzero(np.isnan(pitch))) == [8, 9]
    assert np.nanmax(pitch) == 2.0


def test_looking_at_a_stream_that_grows_changes_nothing_in_it():
    builder, looked_at = StreamBuilder(), StreamBuilder()
    for i in range(30):
        text = framed(b"YXXDR,A,%d.0,D,PITCH" % (20 if i == 12 else 2)) + HEADINGS[i]
        for one in (builder, looked_at):
            one.feed(i / 10, text)
        looked_at.stream()
    assert np.array_equal(
        builder.stream().samples.pitch_deg, looked_at.stream().samples.pitch_deg, equal_nan=True
    )


@pytest.mark.parametrize(
    ("every_s", "angles", "jumps"),
    [
        *((0.1, (350 + v * np.arange(60) / 10) % 360, []) for v in (0.0, 20.0, 170.0, -170.0)),
        (0.1, [359.0, 0, 20, 1, 2], [2]),
        (0.1, [10.0, 10, 190, 10, 10], [2]),
        (1.0, [10.0, 11, 40, 12, 13], []),
        (0.02, [10.0, 10, 16, 10, 10, 14, 10], [2]),
    ],
    ids=["still", "slow", "quick", "back", "across north", "half way round", "slow board", "noise"],
)
def test_there_and_back_is_a_jump_and_no_steady_turn(every_s, angles, jumps):
    t = np.arange(len(angles)) * every_s
    assert list(np.flatnonzero(jumps_and_back(t, np.array(angles)))) == jumps


# --- Real devices: the first lines of gpsd's regression logs (BSD-2-Clause) ---

PYPILOT = b"""# Device: "pypilot"
# Date: 2022-09-19
# Note: Use of $AP prefix
$APXDR,A,0.135,D,PTCH*7C
$APXDR,A,3.861,D,ROLL*65
$APHDM,218.634,M*39
$APROT,0.013,A*35
$APXDR,A,0.138,D,PTCH*71
$APXDR,A,3.866,D,ROLL*62
$APHDM,218.722,M*3F
$APROT,0.019,A*3F
$APXDR,A,0.138,D,PTCH*71
$APXDR,A,3.864,D,ROLL*60
$APHDM,218.764,M*3D
"""
ZEUS = b"""# Device: "bundg zeus 9"
$SDDPT,5.3,0.4,*79
$SDHDG,229.8,,,1.3,E*36
$SDVHW,231.3,T,229.9,M,6.6,N,12.3,K*71
$WIMWV,96.6,T,11.2,N,A*2E
$IIXDR,C,,C,AIRTEMP,A,-1.0,D,HEEL,A,2.9,D,TRIM,P,,B,BARO,A,-3.9,D,RUDDER*29
$SDHDG,230.0,,,1.3,E*36
$SDHDG,230.3,,,1.3,E*35
$SDDBT,18.0,f,5.4,M,3.0,F*3D
$SDHDG,230.6,,,1.3,E*30
"""


def test_a_sailing_boats_autopilot_log_is_read_whole():
    stream = parse_plain_log(PYPILOT, "a.log", 10.0)
    samples = stream.samples
    assert list(samples.heading_deg) == pytest.approx([218.634, 218.722, 218.764])
    assert list(samples.pitch_deg) == pytest.approx([0.135, 0.138, 0.138])
    assert list(samples.roll_deg) == pytest.approx([3.861, 3.866, 3.864])
    assert not samples.heading_is_true.any()
    assert stream.refused["no checksum"] == 1  # "Use of $AP prefix" in a remark
    assert stream.refused.keys() <= {"noise", "no checksum"}


def test_heel_and_trim_of_a_motor_boat_are_roll_and_pitch():
    stream = parse_plain_log(ZEUS, "a.log", 2.0)
    samples = stream.samples
    assert list(samples.heading_deg) == pytest.approx([229.8, 230.0, 230.3, 230.6])
    assert samples.variation_deg == pytest.approx(1.3)
    assert list(samples.pitch_deg) == pytest.approx([np.nan, 2.9, 2.9, 2.9], nan_ok=True)
    assert list(samples.roll_deg) == pytest.approx([np.nan, -1.0, -1.0, -1.0], nan_ok=True)
    assert stream.unknown == 4
