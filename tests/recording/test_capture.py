"""A capture ends in a recording that holds all that came, or in one clear sentence."""

import threading

import numpy as np
import pytest

from firmware_protocol import Cue, Query, encode, framed
from logger.errors import DeviceError, InputError
from logger.recording import continued, load_stream, read_recording


def notes(path):
    return [note for _, note in read_recording(path).notes]


def test_all_that_came_is_recorded_as_it_came_and_the_board_is_asked_who_it_is(bench, fifty_hertz):
    sent = fifty_hertz(0, 100)
    running = bench((sent,)).run()
    recording = read_recording(running.close())
    assert [raw + b"\r\n" for _, raw in recording.sentences] == [chunk for _, chunk in sent]
    assert [t for t, _ in recording.sentences] == pytest.approx(np.arange(1, 101) * 0.02)
    assert recording.sealed
    assert running.links[0].sent == [encode(Query())]
    assert running.links[0].closed


def test_a_lost_link_is_said_noted_and_opened_again(bench, fifty_hertz):
    gone = DeviceError("the link was lost: unplugged")
    running = bench((fifty_hertz(0, 50), gone), (fifty_hertz(200, 50),)).run()
    _, stream = load_stream(running.close())
    assert notes(running.path) == [{"link": "lost"}, {"link": "back"}]
    assert len(stream.samples) == 100
    assert running.said[0].startswith("the link was lost: unplugged; what is recorded so far")
    assert running.said[1].startswith("the link is back after")
    assert running.links[1].sent == [encode(Query())]


def test_half_a_sentence_before_the_loss_is_kept_as_damage_and_joins_nothing_after(
    bench, fifty_hertz
):
    first = [*fifty_hertz(0, 3), (0.01, b"$PHLGA,3,60,18")]
    running = bench((first, DeviceError("lost")), (fifty_hertz(9, 3),)).run()
    recording = read_recording(running.close())
    assert [raw for _, raw in recording.unsound] == [b"$PHLGA,3,60,18"]
    assert len(recording.sentences) == 6


def test_a_link_that_stays_lost_ends_in_one_sentence_and_a_sealed_recording(bench, fifty_hertz):
    running = bench((fifty_hertz(0, 50), DeviceError("lost")))
    running.run()
    with pytest.raises(DeviceError, match="did not come back within 20 s"):
        running.run_on(60)
    recording = read_recording(running.close())
    assert recording.sealed
    assert len(recording.sentences) == 50
    assert continued([running.path]) == running.path.name


def test_silence_in_mid_sweep_counts_as_a_lost_link(bench, fifty_hertz):
    running = bench((fifty_hertz(0, 50),), (fifty_hertz(900, 50),))
    running.run()
    assert running.links[0].closed
    assert running.said[0].startswith("no sentence for 10 s")
    assert len(read_recording(running.close()).sentences) == 100


def test_a_link_that_opens_again_but_stays_silent_is_tried_again_then_given_up(bench, fifty_hertz):
    running = bench((fifty_hertz(0, 9), DeviceError("lost")), ([],), ([],), ([],), ([],))
    with pytest.raises(DeviceError, match="did not come back"):
        running.run_on(60)
    assert all(link.closed for link in running.links[:3])


@pytest.mark.parametrize(
    ("chunks", "sentence"),
    [
        ([], "not one byte in 10 s"),
        ([(0.1, b"\xf8\x00\x9c\xff")] * 300, "bytes, no sentence in 10 s: another speed or device"),
        (
            [(1.0, framed(b"GPRMC,,V,,,,,,,,,,N"))] * 30,
            "11 sentences, none with a heading in 11 s: another device",
        ),
        ([(1.0, encode(Cue("OFF")))] * 30, "the board answers but sends no measurement"),
        ([(0.1, b"$PHLGA,1,20,18")], "14 bytes, no sentence"),
    ],
    ids=["silent", "wrong baud rate", "another device", "no streams", "half a sentence"],
)
def test_a_port_without_our_board_is_given_up_after_ten_seconds(bench, chunks, sentence):
    running = bench((chunks,))
    with pytest.raises(DeviceError, match=sentence) as caught:
        running.run_on(60)
    assert caught.value.exit_code == 3
    assert caught.value.hint
    assert running.capture.elapsed_s() == pytest.approx(10, abs=1.1)


def test_a_board_that_starts_anew_during_a_loss_is_not_taken_for_the_old_one(bench, fifty_hertz):
    # Up for 3 s before the loss and for 5 s when the link is back: t_ms alone shows no reset.
    running = bench((fifty_hertz(150, 50), DeviceError("lost")), (fifty_hertz(250, 50),))
    running.back_at_s = 13.0
    running.run()
    _, stream = load_stream(running.close())
    t = stream.samples.t_s
    assert t[50] - t[49] > 11
    received = [t_s for t_s, _ in read_recording(running.path).sentences]
    assert t[[49, -1]] == pytest.approx([received[49], received[-1]], abs=0.01)


def test_a_board_that_kept_running_through_a_loss_keeps_its_one_clock(bench, fifty_hertz):
    running = bench((fifty_hertz(0, 50), DeviceError("lost")), (fifty_hertz(500, 50),))
    running.back_at_s = 10.0
    running.run()
    _, stream = load_stream(running.close())
    board = np.r_[0:50, 500:550] * 0.02
    assert stream.samples.t_s - board == pytest.approx(np.full(100, 0.02), abs=1e-6)


def test_a_wall_clock_set_in_mid_sweep_is_doubted_aloud_and_moves_no_duration(bench, fifty_hertz):
    def set_back(running):
        if running.capture.elapsed_s() > 1:
            running.clock.wall_error_s = -3600.0

    running = bench((fifty_hertz(0, 100),)).run(while_running=set_back)
    recording, stream = load_stream(running.close())
    assert running.said == [
        "this computer's clock was set by -3600 s: the date and time of this recording are in "
        "doubt, its durations are not"
    ]
    assert recording.problems == (
        "time in doubt: the computer's clock was set by -3600 s in mid-sweep",
    )
    assert np.diff(stream.samples.t_s) == pytest.approx(0.02, abs=1e-6)


@pytest.mark.parametrize("wall_error_s", [1.0, -1.0], ids=["leap second", "leap second back"])
def test_a_leap_second_or_a_slow_correction_disturbs_nobody(bench, fifty_hertz, wall_error_s):
    def leap(running):
        running.clock.wall_error_s = wall_error_s

    running = bench((fifty_hertz(0, 100),)).run(while_running=leap)
    assert running.said == []
    assert read_recording(running.close()).problems == ()


def test_a_full_disk_is_told_at_once_and_nothing_follows_the_torn_line(
    bench, fifty_hertz, monkeypatch
):
    running = bench((fifty_hertz(0, 50),))
    running.run(0.5)
    file = running.capture.writer._file
    room = [150]

    class Full:
        closed = False

        def write(self, data):
            taken = min(len(data), room[0])
            room[0] -= taken
            if not taken:
                raise OSError(28, "No space left on device")
            return file.write(data[:taken])

        fileno, close = file.fileno, file.close

    monkeypatch.setattr(running.capture.writer, "_file", Full())
    with pytest.raises(InputError, match=r"refused to take more: No space left on device"):
        running.run()
    room[0] = 10_000  # room again: a seal, or one more record, would stand after half a line
    with pytest.raises(InputError):
        running.capture.note(label="oak")
    running.close()
    recording = read_recording(running.path)
    assert not recording.sealed
    assert any("torn" in problem for problem in recording.problems)
    assert len(recording.sentences) > 25


def test_a_recording_taken_away_is_told_within_a_second(bench, fifty_hertz):
    running = bench((fifty_hertz(0, 200),))
    running.run(1.0)
    running.path.unlink()
    with pytest.raises(InputError, match="refused to take more: No such file"):
        running.run(1.0)


@pytest.mark.parametrize("when", ["note", "close"])
def test_a_ctrl_c_splits_no_record_and_no_seal(bench, fifty_hertz, monkeypatch, when):
    """It reaches the main thread alone, which only waits while a note or a seal is written."""
    running = bench((fifty_hertz(0, 50),)).run()
    put, writing = running.capture.writer._put, threading.Event()

    def slowly(data, lines=1):
        writing.set()
        assert threading.current_thread() is not threading.main_thread()
        put(data, lines)

    monkeypatch.setattr(running.capture.writer, "_put", slowly)
    if when == "note":
        running.capture.note(label="oak")
    running.close()
    assert writing.is_set()
    assert read_recording(running.path).sealed


def test_notes_are_dated_and_come_back_in_the_stream(bench, fifty_hertz):
    def label(running):
        if len(running.capture.builder) == 50:
            running.capture.note(label="lime tree", kind="deciduous", height_m=9)

    running = bench((fifty_hertz(0, 100),)).run(while_running=label)
    _, stream = load_stream(running.close())
    (note,) = stream.notes
    assert (note.label, note.kind, note.more) == ("lime tree", "deciduous", {"height_m": 9})
    assert note.t_s == pytest.approx(1.0)
    assert running.capture.builder.stream().notes[0].label == "lime tree"


def test_live_and_replay_count_and_measure_the_same(bench, fifty_hertz):
    chunks = fifty_hertz(0, 100)
    chunks[10] = (0.02, chunks[10][1].replace(b"A", b"B", 1))
    chunks[20] = (0.02, chunks[20][1][:-5] + b"0*00\r\n")
    chunks[30] = (0.02, b"noise\r\n")
    running = bench((chunks,)).run()
    _, replayed = load_stream(running.close())
    live = running.capture.builder.stream()
    assert replayed.refused == live.refused
    assert replayed.lost == live.lost == 3
    assert np.array_equal(replayed.samples.heading_deg, live.samples.heading_deg)
    assert replayed.samples.t_s == pytest.approx(live.samples.t_s, abs=0.001)
