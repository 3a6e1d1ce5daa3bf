"""What comes is recorded when it comes, whatever else the program is at. No test here waits for
time to pass: a limit on a wait is only how long a failing test may hang."""

import queue
import threading

import pytest

from firmware_protocol import Sound, encode
from logger.errors import DeviceError, InputError
from logger.recording import Capture, RecordingWriter, SystemClock, read_recording

from .conftest import HEADER, attitude

HANGS_S = 60.0


class FedLink:
    """Gives what the test feeds it; waits for more as a port does."""

    def __init__(self):
        self.fed = queue.SimpleQueue()
        self.sent, self.closed = b"", False

    def read(self):
        try:
            given = self.fed.get(timeout=0.02)
        except queue.Empty:
            return b""
        if isinstance(given, Exception):
            raise given
        if isinstance(given, threading.Event):
            given.set()  # asked for more: what came before it has been recorded
            return b""
        return given

    def feed(self, *chunks):
        """Give chunks, and come back once they have been recorded."""
        recorded = threading.Event()
        for given in (*chunks, recorded):
            self.fed.put(given)
        assert recorded.wait(HANGS_S), "nobody reads the port"

    def write(self, data):
        self.sent += data

    def close(self):
        self.closed = True


SENTENCES = [encode(attitude(n)) for n in range(20)]


@pytest.fixture
def beside(tmp_path):
    """A capture that records on a thread of its own, its link, and its file."""
    link, path = FedLink(), tmp_path / "spot" / "a.sweep"
    again = FedLink()
    writer = RecordingWriter(path, HEADER)
    capture = Capture(link, lambda: again, writer, SystemClock(), beside=True)
    capture.again = again
    yield capture, link, path
    capture.writer.close(seal=False)


def recorded(path):
    return [raw + b"\r\n" for _, raw in read_recording(path).sentences]


def test_bytes_are_recorded_though_nobody_takes_a_step(beside):
    _, link, path = beside
    link.feed(*SENTENCES)
    assert recorded(path) == SENTENCES


def test_a_step_hands_on_all_that_came_meanwhile_in_order(beside):
    capture, link, _ = beside
    link.feed(*SENTENCES)
    assert [piece.raw + b"\r\n" for piece in capture.step()] == SENTENCES
    assert len(capture.builder) == len(SENTENCES)


def test_the_end_seals_what_no_step_has_taken_and_the_last_half_sentence(beside):
    capture, link, path = beside
    link.feed(*SENTENCES, b"$PHLGA,3,60,18")
    capture.close()
    assert link.closed
    recording = read_recording(path)
    assert recording.sealed
    assert recorded(path) == SENTENCES
    assert [raw for _, raw in recording.unsound] == [b"$PHLGA,3,60,18"]


def test_a_stopped_capture_hands_over_what_was_not_taken_and_leaves_the_link_open(beside):
    capture, link, _ = beside
    link.feed(*SENTENCES, b"$PHLGA,3")
    pieces = capture.stop()
    assert [piece.raw for piece in pieces if isinstance(piece, Sound)] == [
        sentence[:-2] for sentence in SENTENCES
    ]
    assert pieces[-1].raw == b"$PHLGA,3"
    assert not link.closed


def test_a_lost_link_is_met_after_what_came_before_it_and_opened_again(beside):
    capture, link, path = beside
    for sentence in SENTENCES[:10]:
        link.fed.put(sentence)
    link.fed.put(DeviceError("unplugged"))
    while not link.closed:
        capture.step()
    assert len(capture.builder) == 10
    while not capture.again.sent:
        capture.step()
    capture.again.feed(*SENTENCES[10:])
    capture.close()
    assert recorded(path) == SENTENCES
    assert [note for _, note in read_recording(path).notes] == [{"link": "lost"}, {"link": "back"}]


def test_a_disk_that_refuses_is_told_at_the_next_step(beside, monkeypatch):
    capture, link, _ = beside

    def refuse(t_s, pieces):
        raise InputError("the disk refused to take more")

    monkeypatch.setattr(capture.writer, "add", refuse)
    link.fed.put(SENTENCES[0])

    def step_on():
        while True:
            capture.step()

    with pytest.raises(InputError, match="refused to take more"):
        step_on()


def test_a_disk_that_refused_after_the_last_step_is_told_at_the_end(beside, monkeypatch):
    capture, link, _ = beside
    told = threading.Event()

    def refuse(t_s, pieces):
        told.set()
        raise InputError("the disk refused to take more")

    monkeypatch.setattr(capture.writer, "add", refuse)
    link.fed.put(SENTENCES[0])
    assert told.wait(HANGS_S)
    with pytest.raises(InputError, match="refused to take more"):
        capture.close()
    assert link.closed


def test_a_note_stands_between_what_came_before_and_after_it(beside):
    capture, link, path = beside
    link.feed(*SENTENCES[:10])
    capture.note(label="oak")
    link.feed(*SENTENCES[10:])
    capture.close()
    lines = path.read_bytes().splitlines()
    assert [line[:1] for line in lines[2:-1]] == [b"s"] * 10 + [b"n"] + [b"s"] * 10
    stamps = [float(line.split()[1]) for line in lines[2:-1]]
    assert stamps == sorted(stamps)


def test_nothing_is_kept_of_a_port_that_stayed_silent(beside):
    capture, _, path = beside
    assert path.exists()
    capture.close()
    assert capture.empty
    assert not path.parent.exists()


@pytest.mark.parametrize("came", [b"\xf8\x00", b"$PHLGA,1", SENTENCES[0]])
def test_the_least_that_came_is_kept(beside, came):
    capture, link, path = beside
    link.feed(came)
    capture.close()
    assert read_recording(path).sealed


def test_a_note_in_a_silent_recording_is_kept(beside):
    capture, _, path = beside
    capture.note(text="the board is dead")
    capture.close()
    assert read_recording(path).notes


def test_a_silent_recording_leaves_the_others_of_its_folder_alone(tmp_path):
    other = RecordingWriter(tmp_path / "spot" / "a.sweep", HEADER)
    other.close()
    silent = Capture(
        FedLink(), FedLink, RecordingWriter(tmp_path / "spot" / "b.sweep", HEADER), SystemClock()
    )
    silent.close()
    assert [path.name for path in (tmp_path / "spot").iterdir()] == ["a.sweep"]
