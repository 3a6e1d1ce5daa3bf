"""What comes is recorded when it comes, whatever else the program is at. No test here waits for
time to pass: a limit on a wait is only how long a failing test may hang."""

import queue
import threading

import pytest

from firmware_protocol import Sound, encode
from logger.errors import DeviceError, InputError
from logger.recording import Capture, FloodError, RecordingWriter, SystemClock, read_recording
from logger.recording.reader_thread import PIECES_AT_ONCE, ReaderThread, _Flow

from .conftest import HEADER, attitude

HANGS_S = 60.0


class FedPort:
    """Gives what the test feeds it; waits for more as a port does."""

    url = "fed"

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
    """A capture whose link is read by a thread, the port below, and the file."""
    port, path, again = FedPort(), tmp_path / "spot" / "a.sweep", FedPort()
    link = ReaderThread(port)
    capture = Capture(
        link, lambda: ReaderThread(again), RecordingWriter(path, HEADER), SystemClock()
    )
    capture.again, capture.link = again, link
    yield capture, port, path
    capture.writer.close(seal=False)
    link.close()


def recorded(path):
    return [raw + b"\r\n" for _, raw in read_recording(path).sentences]


def step_until_it_ends(capture):
    while True:
        capture.step()


def test_bytes_are_recorded_though_nobody_takes_a_step_which_then_hands_all_on(beside):
    capture, port, path = beside
    port.feed(*SENTENCES)
    assert recorded(path) == SENTENCES
    assert [piece.raw + b"\r\n" for piece in capture.step()] == SENTENCES
    assert len(capture.builder) == len(SENTENCES)


def test_the_end_seals_what_no_step_has_taken_and_the_last_half_sentence(beside):
    capture, port, path = beside
    port.feed(*SENTENCES, b"$PHLGA,3,60,18")
    capture.close()
    assert port.closed
    recording = read_recording(path)
    assert recording.sealed
    assert recorded(path) == SENTENCES
    assert [raw for _, raw in recording.unsound] == [b"$PHLGA,3,60,18"]


def test_a_stopped_capture_hands_over_what_was_not_taken_and_leaves_the_link_open(beside):
    capture, port, _ = beside
    port.feed(*SENTENCES, b"$PHLGA,3")
    pieces = capture.stop()
    assert [piece.raw for piece in pieces if isinstance(piece, Sound)] == [
        sentence[:-2] for sentence in SENTENCES
    ]
    assert pieces[-1].raw == b"$PHLGA,3"
    assert not port.closed


def test_what_comes_between_two_recordings_is_in_the_second(beside, tmp_path):
    capture, port, first = beside
    port.feed(*SENTENCES[:5])
    capture.stop()
    port.feed(*SENTENCES[5:10])
    writer = RecordingWriter(tmp_path / "b.sweep", HEADER)
    after = Capture(capture.link, lambda: capture.link, writer, SystemClock())
    port.feed(*SENTENCES[10:])
    after.close()
    assert recorded(first) + recorded(writer.path) == SENTENCES


def test_of_what_comes_while_nobody_records_the_latest_is_kept():
    port = FedPort()
    link = ReaderThread(port)
    port.feed(*SENTENCES * 200)
    taken = []
    link.start(lambda chunk: taken.append(chunk))
    port.fed.put(b"end")
    while not taken:
        pass
    link.close()
    assert len(taken[0]) == 65536 + len(b"end")
    assert taken[0].endswith(SENTENCES[-1] + b"end")


def test_a_lost_link_is_met_after_what_came_before_it_and_opened_again(beside):
    capture, port, path = beside
    for sentence in SENTENCES[:10]:
        port.fed.put(sentence)
    port.fed.put(DeviceError("unplugged"))
    while not port.closed:
        capture.step()
    assert len(capture.builder) == 10
    while not capture.again.sent:
        capture.step()
    capture.again.feed(*SENTENCES[10:])
    capture.close()
    assert recorded(path) == SENTENCES
    assert [note for _, note in read_recording(path).notes] == [{"link": "lost"}, {"link": "back"}]


@pytest.mark.parametrize("waiting", [step_until_it_ends, Capture.close])
def test_a_disk_that_refuses_is_told_at_the_next_step_or_at_the_end(beside, monkeypatch, waiting):
    capture, port, _ = beside
    refused = threading.Event()

    def refuse(t_s, pieces):
        if pieces:
            refused.set()
            raise InputError("the disk refused to take more")

    monkeypatch.setattr(capture.writer, "add", refuse)
    port.fed.put(SENTENCES[0])
    assert refused.wait(HANGS_S)
    with pytest.raises(InputError, match="refused to take more"):
        waiting(capture)
    assert port.closed == (waiting is Capture.close)


# --- More than any board sends ---

FLOODS = {
    "sound sentences": (b"".join(SENTENCES) * 4, 80),
    "noise": (bytes(range(256)) * 16, 48),
    "no line ends": (b"A" * 4096, 32),
    "dollars": (b"$" * 4096, 4096),
}


@pytest.mark.parametrize(("flood", "pieces"), FLOODS.values(), ids=FLOODS)
def test_a_flood_ends_in_one_sentence_with_all_that_was_read_on_the_disk(
    beside, flood, pieces, monkeypatch
):
    # However slowly this computer takes them: no rate is allowed beside what may come at once.
    monkeypatch.setattr("logger.recording.reader_thread.PIECES_A_SECOND", 0)
    monkeypatch.setattr("logger.recording.reader_thread.PIECES_AT_ONCE", 5_000)
    capture, port, path = beside
    for _ in range(10_000 // pieces):
        port.fed.put(flood)
    with pytest.raises(FloodError, match=r"came (in .* s|at once), more than any board sends"):
        step_until_it_ends(capture)
    capture.close()
    recording = read_recording(path)
    assert recording.sealed
    kept = sum(len(raw) + 2 for _, raw in recording.sentences)
    kept += sum(len(raw) for _, raw in recording.unsound)
    assert kept == pytest.approx(capture._bytes, abs=3)


def test_what_nobody_takes_is_recorded_without_end_but_waits_for_nobody(beside, monkeypatch):
    monkeypatch.setattr("logger.recording.reader_thread.MOST_WAITING", 8)
    capture, port, path = beside
    port.feed(*SENTENCES)
    assert capture.link._come.qsize() == 9
    with pytest.raises(FloodError, match="more comes than this computer can keep up with"):
        step_until_it_ends(capture)
    capture.close()
    assert recorded(path) == SENTENCES


def told(*chunks):
    flow = _Flow()
    for now_s, pieces in chunks:
        flow.take(now_s, pieces, "fed")


@pytest.mark.parametrize(
    "chunks",
    [
        [(n * 0.005, 3) for n in range(100_000)],  # 200 instants of 3 sentences a second
        [(10.0 * n, 6_000) for n in range(10)],  # held up by a network for ten seconds each time
        [(float(n), 1) for n in range(1000)],
    ],
    ids=["fastest board", "held up", "drip"],
)
def test_no_board_is_taken_for_a_flood(chunks):
    told(*chunks)


@pytest.mark.parametrize("a_second", [5_000, 50_000])
def test_more_than_any_board_sends_is_told(a_second):
    with pytest.raises(FloodError) as caught:
        told(*((1 + n * 0.01, a_second // 100) for n in range(2000)))
    came, seconds = a_second * 0.01, PIECES_AT_ONCE / (a_second - 2_000)
    words = caught.value.what.split()
    assert int(words[0]) == pytest.approx(a_second * seconds, abs=came * 2)
    assert float(words[-7]) == pytest.approx(seconds, abs=0.1)


# --- Notes, and what is kept ---


def test_a_note_stands_between_what_came_before_and_after_it(beside):
    capture, port, path = beside
    port.feed(*SENTENCES[:10])
    capture.note(label="oak")
    port.feed(*SENTENCES[10:])
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


@pytest.mark.parametrize("came", [b"\xf8\x00", b"$PHLGA,1", SENTENCES[0], None])
def test_the_least_that_came_or_was_noted_is_kept(beside, came):
    capture, port, path = beside
    if came is None:
        capture.note(text="the board is dead")
    else:
        port.feed(came)
    capture.close()
    assert read_recording(path).sealed


def test_a_silent_recording_leaves_the_others_of_its_folder_alone(beside):
    capture, _, path = beside
    RecordingWriter(path.parent / "b.sweep", HEADER).close()
    capture.close()
    assert [path.name for path in path.parent.iterdir()] == ["b.sweep"]
