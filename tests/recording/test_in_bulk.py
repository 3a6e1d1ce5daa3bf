"""Decoded in bulk, a recording is what it is sentence by sentence, to the last bit."""

from dataclasses import fields, replace
from pathlib import Path
from unittest.mock import patch

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from firmware_protocol import (
    Attitude,
    Fault,
    Identity,
    Key,
    MagneticHeading,
    PitchRoll,
    RawField,
    RawRate,
    TrueHeading,
    check,
    encode,
    framed,
)
from logger.recording import StreamBuilder
from logger.recording.port import decode_recording
from logger.recording.reader import Recording
from logger.recording.samples import Samples

BLOCK = 50


def plain(sentence):
    return encode(sentence)[:-2]


def raw(n, t_ms, seq=None):
    """Field and force, and rate, of one instant; every value differs from its neighbours'."""
    seq = n % 65536 if seq is None else seq
    return [
        RawField(seq, t_ms, n % 997, -n % 991, 4300, n % 13, -n % 17, -10000 + n % 7),
        RawRate(seq, t_ms, n % 89, -n % 83, 350, 231 + n % 5),
    ]


def attitude(n, t_ms, seq=None):
    seq = n % 65536 if seq is None else seq
    return Attitude(seq, t_ms, 7 * n % 36000, -n % 90, n % 800, n % 10)


def both_ways(timed, gaps=(), fewest=2):
    """The stream of a recording, the same both ways, and how many sentences went in bulk."""
    singly = StreamBuilder()
    for number, (t, line) in enumerate(timed):
        if number in gaps:
            singly.interrupted()
        singly.feed(t, line + b"\n")

    counts = []

    class Counting(StreamBuilder):
        def feed_lines(self, t_s, lines):
            counts.append((super().feed_lines(t_s, lines), self.accepted))
            return counts[-1][0]

    recording = Recording(Path("a.sweep"), {}, timed, [], [], True, "", gaps=tuple(gaps))
    with (
        patch("logger.recording.port.StreamBuilder", Counting),
        patch("logger.recording.port._BLOCK", BLOCK),
        patch("logger.recording.decode._FEWEST_IN_BULK", fewest),
    ):
        stream = decode_recording(recording)
    assert_same(stream, singly.stream())
    assert singly.accepted == (counts[-1][1] if counts else 0)
    return stream, sum(in_bulk for in_bulk, _ in counts)


def assert_same(one, other):
    for column in fields(Samples):
        ours, theirs = getattr(one.samples, column.name), getattr(other.samples, column.name)
        np.testing.assert_array_equal(ours, theirs, err_msg=column.name, strict=True)
        assert np.array_equal(np.signbit(ours), np.signbit(theirs)), column.name
    rest = [
        {f.name: getattr(stream, f.name) for f in fields(stream) if f.name != "samples"}
        for stream in (one, other)
    ]
    assert rest[0] == rest[1]


def timed(sentences_of, count, every_s=0.02):
    return [
        (every_s * n + 0.001 * k, plain(sentence))
        for n in range(count)
        for k, sentence in enumerate(sentences_of(n))
    ]


def test_nearly_all_of_a_sweep_is_read_in_bulk():
    sent = timed(lambda n: raw(n, 20 * n), 400)
    stream, in_bulk = both_ways(sent)
    assert in_bulk == 800 - 800 // BLOCK  # the first of each block goes singly
    assert len(stream.samples) == 400


def test_attitude_and_raw_values_of_an_instant_share_a_row_across_blocks():
    sent = timed(lambda n: [attitude(n, 20 * n), *raw(n, 20 * n)], 301)
    stream, in_bulk = both_ways(sent)
    assert len(stream.samples) == 301
    assert stream.samples.has_attitude.all()
    assert stream.samples.has_field.all()
    assert in_bulk > 850


def test_wraps_of_counter_and_clock_go_in_bulk():
    top = 2**32
    sent = timed(lambda n: raw(65530 + n, (top - 1000 + 20 * n) % top), 120)
    stream, in_bulk = both_ways(sent)
    assert stream.lost == 0
    assert in_bulk > 230


def test_missing_instants_are_counted_in_bulk_as_they_are_singly():
    sent = timed(lambda n: raw(n, 20 * n) if n % 7 else [], 200)
    stream, in_bulk = both_ways(sent)
    assert stream.lost == 28
    assert in_bulk > 330


def test_every_other_instant_missing_is_counted_across_all_joints():
    sent = timed(lambda n: raw(2 * n, 40 * n)[:1], 120)
    stream, in_bulk = both_ways(sent)
    assert stream.lost == 119
    assert in_bulk > 110


def test_a_board_that_starts_anew_is_read_singly_for_a_while_and_no_otherwise():
    first = timed(lambda n: raw(500 + n, 60_000 + 20 * n), 130)
    again = [(t + 4, line) for t, line in timed(lambda n: raw(n, 20 * n), 130)]
    stream, in_bulk = both_ways(first + again)
    assert stream.lost == 0
    assert 400 < in_bulk < 500


def test_a_board_stuck_at_one_count_is_read_singly():
    sent = timed(lambda n: raw(n, 100 * n, seq=7), 100, every_s=0.1)
    stream, in_bulk = both_ways(sent)
    assert in_bulk == 0
    assert len(stream.samples) == 10  # one a second


def test_after_a_gap_a_clock_that_went_on_is_the_same_however_the_last_was_read():
    before = timed(lambda n: raw(n, 100 * n), 25, every_s=0.1)
    after = [(t + 8.0, line) for t, line in timed(lambda n: raw(25 + n, 100 * n + 7500), 25, 0.1)]
    stream, in_bulk = both_ways(before + after, gaps=[50])
    assert stream.samples.t_s[25] == pytest.approx(7.5)  # by the board, not 0.5 s later
    assert in_bulk == 98


def test_few_sentences_are_not_worth_it():
    sent = timed(lambda n: raw(n, 20 * n), 20)
    assert both_ways(sent, fewest=41)[1] == 0
    assert both_ways(sent, fewest=40)[1] == 39


def test_lines_follow_on_half_a_sentence_fed_before():
    lines = [line for _, line in timed(lambda n: raw(n, 20 * n), 30)]
    one, other = StreamBuilder(), StreamBuilder()
    for builder in (one, other):
        builder.feed(0.0, lines[0] + b"\n" + lines[1][:9])
    assert one.feed_lines([0.1] * 60, lines) == 59
    for line in lines:
        other.feed(0.1, line + b"\n")
    assert one.refused == {"no checksum": 1}
    assert_same(one.stream(), other.stream())


# Stretches of a recording, each a list of (seconds since the one before, line), and the state of
# the board after it.
def extra_field(sentence):
    content = plain(sentence)[1:-8] + b",new"
    return framed(content + b",%04X" % check(content))[:-2]


def out_of_range(sentence):
    content = plain(sentence)[1:-8].rsplit(b",", 1)[0] + b",999999"
    return framed(content + b",%04X" % check(content))[:-2]


ODDITIES = st.sampled_from(
    [
        "missing",
        "twice",
        "empty",
        "damaged",
        "noise",
        "extra",
        "range",
        "key",
        "fault",
        "identity",
        "plain",
        "restart",
        "ahead",
        "behind",
        "gap",
        "wrap",
        "stuck",
        "count",
        "stall",
        "back",
    ]
)
STRETCHES = st.lists(
    st.tuples(
        st.sampled_from(["MG", "GM", "AMG", "M", "G", "A", "AM"]), st.integers(0, 25), ODDITIES
    ),
    min_size=1,
    max_size=10,
)


def recorded(stretches, start_ms):
    """A recording with these stretches, an oddity after each: its sentences and its gaps."""
    sent, gaps = [], []
    t, seq, t_ms, number = 0.0, 65_500, start_ms, 0

    def sentences(streams):
        field, rate = raw(number, t_ms % 2**32, seq % 65536)
        by_letter = {"A": attitude(number, t_ms % 2**32, seq % 65536), "M": field, "G": rate}
        return [by_letter[letter] for letter in streams]

    for streams, count, oddity in stretches:
        for _ in range(count):
            sent += [(t, plain(sentence)) for sentence in sentences(streams)]
            t, t_ms, number = round(t + 0.02, 3), t_ms + 20, number + 1
            seq += oddity != "stuck"
        one = sentences(streams)[-1]
        t_sent = t_ms % 2**32
        odd = {
            "twice": [plain(one), plain(replace(one, t_ms=(t_ms + 1) % 2**32))],
            "empty": [plain(RawField(seq % 65536, t_sent, None, 1, 2, 3, None, 5))],
            "damaged": [plain(one).replace(b"1", b"2")],
            "noise": [b"\x00\xff$PHLG", b"", plain(one)[1:], plain(one) * 2, plain(one) + b"\r"],
            "extra": [extra_field(one)],
            "range": [out_of_range(one)],
            "key": [plain(Key(seq % 65536, t_sent, 2, down=True))],
            "fault": [plain(Fault(t_sent, "RANGE", "x"))],
            "identity": [plain(Identity(1, "b", "7", "1", 50, "MG"))],
            "plain": [
                plain(PitchRoll(1.0, 2.0)),
                plain(MagneticHeading(float(number % 360))),
                plain(TrueHeading(5.0)),
            ],
        }
        sent += [(t, line) for line in odd.get(oddity, [])]
        match oddity:
            case "missing":
                seq, t_ms, t = seq + 3, t_ms + 60, t + 0.06
            case "restart":
                seq, t_ms, t = 0, 0, t + 3.0
            case "ahead":
                t_ms += 70_000
            case "behind":
                t_ms = (t_ms - 500) % 2**32
            case "gap":
                gaps.append(len(sent))
                t, t_ms = t + 5.0, t_ms + (5_000 if number % 2 else 9_000)
            case "wrap":
                t_ms = 2**32 - 100
            case "count":
                seq += 30_000
            case "stall":
                t += 1.7
            case "back":
                t = max(t - 0.5, 0.0)
    return sent, gaps


@given(STRETCHES, st.sampled_from([0, 5_000, 2**31, 2**32 - 300]))
def test_whatever_happens_a_recording_reads_the_same(stretches, start_ms):
    sent, gaps = recorded(stretches, start_ms)
    _, in_bulk = both_ways(sent, gaps)
    harmless = {"missing", "identity", "fault", "key", "noise", "extra", "range", "damaged"}
    if all(oddity in harmless for *_, oddity in stretches):
        # Blocks and whatever is odd cut the stretches; the first of each part goes singly.
        cuts = len(sent) // BLOCK + len(stretches)
        assert in_bulk >= sum(len(streams) * count for streams, count, _ in stretches) - 2 * cuts
