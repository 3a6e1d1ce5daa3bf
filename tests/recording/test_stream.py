"""Sentences become columns: one row an instant, clocks joined, resets and wraps undone."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from firmware_protocol import Attitude, Fault, Key, RawField, RawRate, encode, framed
from logger.errors import UsageError
from logger.recording import StreamBuilder
from logger.recording.decode import HOLD_S, join_clocks
from logger.recording.nmea_log import parse_plain_log


def fed(*timed):
    builder = StreamBuilder()
    for t, sentence in timed:
        builder.feed(t, encode(sentence))
    return builder.stream()


def attitude(seq, t_ms, heading=9000):
    return Attitude(seq, t_ms, heading, 0, 100, 1)


def test_sentences_of_one_instant_share_a_row():
    got = fed(
        (0.0, attitude(7, 140)),
        (0.001, RawField(7, 140, 2000, 0, 4300, 0, 0, -10000)),
        (0.002, RawRate(7, 140, 100, 0, 0, 231)),
        (0.02, attitude(8, 160)),
    ).samples
    assert list(got.seq) == [7, 8]
    assert got.field_ut[0] == pytest.approx([20, 0, 43])
    assert got.force_g[0] == pytest.approx([0, 0, -1])
    assert got.rate_deg_s[0] == pytest.approx([1, 0, 0])
    assert got.temperature_c[0] == pytest.approx(23.1)
    assert np.isnan(got.field_ut[1]).all()


def raw_and_not(n):
    """Instants of which every third bears raw field, every fourth raw rate."""
    for i in range(n):
        yield 0.02 * i, attitude(i, 20 * i)
        if i % 3 == 0:
            yield 0.02 * i, RawField(i, 20 * i, 100 * i, 0, 0, 0, 0, -10000)
        if i % 4 == 0:
            yield 0.02 * i, RawRate(i, 20 * i, 0, 0, i, 200)


def test_raw_values_stand_beside_their_own_instant_wherever_a_slice_begins():
    builder = StreamBuilder()
    for t, sentence in raw_and_not(60):
        builder.feed(t, encode(sentence))
    for start, stop in ((0, 60), (1, 59), (4, 5), (5, 6), (7, 8), (30, 30), (10, 25)):
        got = builder.samples(start, stop)
        of = np.arange(start, stop)
        assert list(got.seq) == list(of)
        mx = np.where(of % 3 == 0, of.astype(float), np.nan)
        gz = np.where(of % 4 == 0, of / 100, np.nan)
        np.testing.assert_array_equal(got.field_ut[:, 0], mx)
        np.testing.assert_array_equal(got.rate_deg_s[:, 2], gz)
        np.testing.assert_array_equal(got.temperature_c, np.where(of % 4 == 0, 20.0, np.nan))


def test_a_stuck_key_and_a_failing_sensor_fill_no_memory_and_it_is_said(monkeypatch):
    monkeypatch.setattr("logger.recording.decode.MOST_EVENTS", 3)
    got = fed(
        *((0.02 * i, Key(i, 20 * i, 1, i % 2 == 0)) for i in range(5)),
        *((1.0 + 0.02 * i, Fault(1000 + 20 * i, "RANGE", str(i))) for i in range(4)),
        (2.0, attitude(9, 2000)),
    )
    assert [key.down for key in got.keys] == [True, False, True]
    assert got.doubts == (
        "2 key events after the first 3 left out",
        "1 kinds of fault after the first 3 left out",
        "the board reports faults: RANGE 0 (1×), RANGE 1 (1×), RANGE 2 (1×)",
    )
    assert len(got.samples) == 1


def test_what_a_board_says_is_wrong_with_it_is_told():
    fault = Fault(9001, "RANGE", "magnetometer, x axis")
    got = fed((0.0, attitude(0, 0)), (0.1, fault), (5.1, fault), (6.0, Fault(9, "SENSOR", "gyro")))
    assert got.doubts == (
        "the board reports faults: RANGE magnetometer, x axis (2×), SENSOR gyro (1×)",
    )


def test_a_board_that_starts_anew_all_the_time_is_joined_start_by_start():
    starts = [0.0, 100.0, 130.0, 300.0]
    got = fed(*((s + 0.2 * i, attitude(i, 200 * i)) for s in starts for i in range(10)))
    expected = [s + 0.2 * i for s in starts for i in range(10)]
    assert got.samples.t_s == pytest.approx(expected, abs=1e-6)
    assert not got.doubts


def test_the_board_clock_gives_the_spacing_and_the_host_the_origin():
    jitter = np.random.default_rng(1).exponential(0.02, 200)
    got = fed(*((1 + 0.02 * i + jitter[i], attitude(i, 5000 + 20 * i)) for i in range(200)))
    assert np.diff(got.samples.t_s) == pytest.approx(0.02, abs=1e-9)
    assert got.samples.t_s[0] == pytest.approx(1 + jitter.min(), abs=1e-6)


def test_clock_and_counter_wraps_are_no_gap():
    top = 2**32
    got = fed(
        *((0.02 * i, attitude((65530 + i) % 65536, (top - 100 + 20 * i) % top)) for i in range(12))
    )
    assert len(got.samples) == 12
    assert np.diff(got.samples.t_s) == pytest.approx(0.02, abs=1e-6)
    assert got.lost == 0


def test_a_board_reset_starts_its_clock_anew_and_loses_nothing():
    first = [(0.02 * i, attitude(100 + i, 60000 + 20 * i)) for i in range(50)]
    again = [(3 + 0.02 * i, attitude(i, 20 * i)) for i in range(50)]
    got = fed(*first, *again)
    assert got.lost == 0
    assert got.samples.t_s[50] == pytest.approx(3.0, abs=1e-6)
    assert np.all(np.diff(got.samples.t_s) >= 0)


def test_a_sentence_out_of_order_at_the_wrap_of_the_clock_moves_nothing():
    top = 2**32
    order = [0, 1, 2, 4, 3, 5, 6]  # a key of instant 3, say, sent after instant 4
    got = fed(*((0.02 * i, attitude(i, (top - 70 + 20 * n) % top)) for i, n in enumerate(order)))
    assert got.samples.t_s[-1] == pytest.approx(0.12, abs=0.03)


def test_a_board_up_for_weeks_that_starts_anew_is_no_wrap():
    first = [(0.02 * i, attitude(100 + i, 3_400_000_000 + 20 * i)) for i in range(50)]
    again = [(3 + 0.02 * i, attitude(i, 20 * i)) for i in range(50)]
    t = fed(*first, *again).samples.t_s
    assert t[50] - t[49] == pytest.approx(2.02, abs=1e-3)
    assert t[-1] < 4


def test_a_board_clock_that_leaps_hours_ahead_is_another_clock():
    first = [(0.02 * i, attitude(i, 20 * i)) for i in range(50)]
    leapt = [(1 + 0.02 * i, attitude(50 + i, 40_000_000 + 20 * i)) for i in range(50)]
    t = fed(*first, *leapt).samples.t_s
    assert t == pytest.approx(np.arange(100) * 0.02, abs=1e-6)


def test_clocks_far_apart_are_doubted_and_the_boards_durations_kept():
    got = fed(*((0.01 * i, attitude(i, 1000 + 20 * i)) for i in range(3000)))
    assert got.doubts == ("time in doubt: the board counts 60 s where this computer counts 30 s",)
    assert got.samples.t_s == pytest.approx(np.arange(3000) * 0.02)


@pytest.mark.parametrize("percent", [-1.5, 1.5])
def test_a_ceramic_oscillator_is_corrected_without_doubt(percent):
    rate = 1 + percent / 100
    got = fed(*((0.05 * i * rate, attitude(i, 50 * i)) for i in range(1200)))
    assert got.doubts == ()
    assert got.samples.t_s == pytest.approx(np.arange(1200) * 0.05 * rate, abs=0.001)


def test_a_stall_of_the_host_delays_no_sample():
    sent = [(0.02 * i, attitude(i, 20 * i)) for i in range(3000)]
    stalled = [(max(t, 45.0) if 40 < t < 45 else t, sentence) for t, sentence in sent]
    assert fed(*stalled).samples.t_s == pytest.approx(np.arange(3000) * 0.02, abs=1e-4)


def test_a_row_takes_little_memory():
    import tracemalloc

    lines = [encode(attitude(i % 65536, 5 * i)) for i in range(2_000)]
    builder = StreamBuilder()
    tracemalloc.start()
    for i, line in enumerate(lines):
        builder.feed(0.005 * i, line)
    used, _ = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert used / len(lines) < 400  # bytes; an hour at 200 Hz is 720,000 rows


def test_a_key_is_dated_by_the_board():
    got = fed((0, attitude(0, 0)), (1, attitude(50, 1000)), (1.4, Key(60, 1200, 2, True)))
    assert got.keys[0].t_s == pytest.approx(1.2)
    assert (got.keys[0].key, got.keys[0].down) == (2, True)


@given(
    ppm=st.floats(-200, 200),
    offset=st.floats(0, 1e4),
    seed=st.integers(0, 2**32 - 1),
)
def test_clock_drift_is_found_through_the_jitter(ppm, offset, seed):
    board = np.arange(0, 180, 0.1)
    true = offset + board * (1 + ppm * 1e-6)
    received = true + np.random.default_rng(seed).exponential(0.01, board.size)
    join = join_clocks(board, received)
    # An exponential delay leaves about its mean divided by the count at each end of the line.
    assert np.abs(join.offset_s + join.rate * board - true).max() < 0.004


def log(*bodies):
    return b"".join(framed(body.encode()) for body in bodies)


def test_a_plain_log_counts_headings_and_holds_pitch_for_two_seconds():
    many = ["HCHDM,90.0,M"] * 40
    got = parse_plain_log(log("YXXDR,A,-2.4,D,PITCH,A,1.1,D,ROLL", *many), "x", 10).samples
    assert got.t_s == pytest.approx(np.arange(40) / 10)
    held = np.isfinite(got.pitch_deg)
    assert held.sum() == HOLD_S * 10 + 1
    assert got.pitch_deg[0] == -2.4
    assert got.roll_deg[0] == 1.1


def test_deviation_is_applied_and_variation_only_reported():
    got = parse_plain_log(log("HCHDG,98.3,2.0,W,12.6,E"), "x", 1).samples
    assert got.heading_deg[0] == pytest.approx(96.3)
    assert got.variation_deg[0] == pytest.approx(12.6)
    assert not got.heading_is_true[0]


def test_a_true_heading_is_marked_so():
    assert parse_plain_log(log("GPHDT,274.07,T"), "x", 1).samples.heading_is_true[0]


def test_a_plain_log_without_rate_says_what_to_give():
    with pytest.raises(UsageError, match="tells no times"):
        parse_plain_log(log("GPHDT,274.07,T"), "a.log", None)
