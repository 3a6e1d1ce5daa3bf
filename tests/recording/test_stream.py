"""Sentences become columns: one row an instant, clocks joined, resets and wraps undone."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from firmware_protocol import Attitude, Fault, Key, RawField, RawRate, encode
from logger.recording import StreamBuilder
from logger.recording.decode import join_clocks


def fed(timed):
    builder = StreamBuilder()
    for t, sentence in timed:
        builder.feed(t, encode(sentence))
    return builder.stream()


def attitude(seq, t_ms):
    return Attitude(seq % 65536, t_ms % 2**32, 9000, 0, 100, 1)


def run(n, from_s=0.0, from_ms=0, every_ms=20, seq=0):
    """So many instants of a board and a host whose clocks run alike."""
    return [
        (from_s + i * every_ms / 1000, attitude(seq + i, from_ms + i * every_ms)) for i in range(n)
    ]


def late(timed, by_s):
    return [(t + late_s, sentence) for (t, sentence), late_s in zip(timed, by_s, strict=True)]


def times(n, from_s=0.0, every_s=0.02):
    return from_s + np.arange(n) * every_s


def test_sentences_of_one_instant_share_a_row():
    got = fed(
        [
            (0.0, attitude(7, 140)),
            (0.001, RawField(7, 140, 2000, 0, 4300, 0, 0, -10000)),
            (0.002, RawRate(7, 140, 100, 0, 0, 231)),
            (0.02, attitude(8, 160)),
        ]
    ).samples
    assert list(got.seq) == [7, 8]
    assert got.field_ut[0] == pytest.approx([20, 0, 43])
    assert got.force_g[0] == pytest.approx([0, 0, -1])
    assert got.rate_deg_s[0] == pytest.approx([1, 0, 0])
    assert got.temperature_c[0] == pytest.approx(23.1)
    assert np.isnan(got.field_ut[1]).all()


def test_raw_values_stand_beside_their_own_instant_wherever_a_slice_begins():
    builder = StreamBuilder()
    for i, (t, sentence) in enumerate(run(60)):
        builder.feed(t, encode(sentence))
        if i % 3 == 0:
            builder.feed(t, encode(RawField(i, 20 * i, 100 * i, 0, 0, 0, 0, -10000)))
        if i % 4 == 0:
            builder.feed(t, encode(RawRate(i, 20 * i, 0, 0, i, 200)))
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
    keys = [(0.02 * i, Key(i, 20 * i, 1, i % 2 == 0)) for i in range(5)]
    faults = [(1.0, Fault(1000, "RANGE", text)) for text in ("x axis", "y", "y", "z", "z, too")]
    got = fed([*keys, *faults, (2.0, attitude(9, 2000))])
    assert [key.down for key in got.keys] == [True, False, True]
    assert got.doubts == (
        "2 key events after the first 3 left out",
        "1 kinds of fault after the first 3 left out",
        "the board reports faults: RANGE y (2×), RANGE x axis (1×), RANGE z (1×)",
    )
    assert len(got.samples) == 1


JITTER_S = np.random.default_rng(1).exponential(0.02, 200)
ORDER = [0, 1, 2, 4, 3, 5, 6]  # a key of instant 3, say, sent after instant 4
DATED = {
    "started anew all the time": (
        [row for start in (0, 100, 130, 300) for row in run(10, start, every_ms=200)],
        [start + 0.2 * i for start in (0, 100, 130, 300) for i in range(10)],
    ),
    "late by chance: spacing by the board, origin by the host": (
        late(run(200, 1.0, 5000), JITTER_S),
        times(200, 1 + JITTER_S.min()),
    ),
    "clock and counter wrap": (run(12, from_ms=2**32 - 100, seq=65530), times(12)),
    "reset": (
        [*run(50, from_ms=60_000, seq=100), *run(50, 3.0)],
        [*times(50), *times(50, 3.0)],
    ),
    "reset after weeks, no wrap": (
        [*run(50, from_ms=3_400_000_000, seq=100), *run(50, 3.0, seq=150)],
        [*times(50), *times(50, 3.0)],
    ),
    "out of order at the wrap": (
        [(0.02 * i, attitude(i, 2**32 - 70 + 20 * n)) for i, n in enumerate(ORDER)],
        np.maximum.accumulate(np.array(ORDER) * 0.02) - 0.02,
    ),
    "leapt hours ahead": ([*run(50), *run(50, 1.0, 40_000_000, seq=50)], times(100)),
    "host stalled": (
        late(run(3000), [max(45 - t, 0) if t > 40 else 0 for t in times(3000)]),
        times(3000),
    ),
    "1.5 % slow": (
        [(0.05 * i * 0.985, attitude(i, 50 * i)) for i in range(1200)],
        times(1200, 0.0, 0.05 * 0.985),
    ),
    "1.5 % quick": (
        [(0.05 * i * 1.015, attitude(i, 50 * i)) for i in range(1200)],
        times(1200, 0.0, 0.05 * 1.015),
    ),
}


@pytest.mark.parametrize(("timed", "t_s"), DATED.values(), ids=DATED)
def test_rows_are_dated_by_the_board_from_when_they_came(timed, t_s):
    got = fed(timed)
    assert got.samples.t_s == pytest.approx(t_s, abs=1e-4)
    assert (got.lost, got.doubts) == (0, ())


def test_clocks_far_apart_are_doubted_and_the_boards_durations_kept():
    got = fed([(0.01 * i, attitude(i, 1000 + 20 * i)) for i in range(3000)])
    assert got.doubts == ("time in doubt: the board counts 60 s where this computer counts 30 s",)
    assert got.samples.t_s == pytest.approx(times(3000))


def test_a_row_takes_little_memory():
    import tracemalloc

    lines = [encode(sentence) for _, sentence in run(2_000, every_ms=5)]
    builder = StreamBuilder()
    tracemalloc.start()
    for i, line in enumerate(lines):
        builder.feed(0.005 * i, line)
    used, _ = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert used / len(lines) < 400  # bytes; an hour at 200 Hz is 720,000 rows


def test_a_key_is_dated_by_the_board():
    got = fed([(0, attitude(0, 0)), (1, attitude(50, 1000)), (1.4, Key(60, 1200, 2, True))])
    assert got.keys[0].t_s == pytest.approx(1.2)
    assert (got.keys[0].key, got.keys[0].down) == (2, True)


@given(ppm=st.floats(-200, 200), offset=st.floats(0, 1e4), seed=st.integers(0, 2**32 - 1))
def test_clock_drift_is_found_through_the_jitter(ppm, offset, seed):
    board = np.arange(0, 180, 0.1)
    true = offset + board * (1 + ppm * 1e-6)
    received = true + np.random.default_rng(seed).exponential(0.01, board.size)
    join = join_clocks(board, received)
    # An exponential delay leaves about its mean divided by the count at each end of the line.
    assert np.abs(join.offset_s + join.rate * board - true).max() < 0.004
