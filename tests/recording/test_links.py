"""Every kind of port that pyserial opens delivers what was sent, byte for byte, and its loss."""

import contextlib
import os
import socket
import threading
from types import SimpleNamespace

import pytest
import serial
import serial.rfc2217
from click.testing import CliRunner

from firmware_protocol import Decoder, Query, Sound, encode, framed
from logger.cli import main
from logger.errors import DeviceError
from logger.recording import (
    Capture,
    RecordingWriter,
    SystemClock,
    Taken,
    open_link,
    read_recording,
)
from logger.recording.reader_thread import ReaderThread
from logger.simulation import simulate_plane

# pyserial 3.5's own network port calls what newer Pythons deprecate.
pytestmark = pytest.mark.filterwarnings("ignore:set(Daemon|Name):DeprecationWarning")
no_pty = pytest.mark.skipif(not hasattr(os, "openpty"), reason="this system has no ptys")


@pytest.fixture(scope="module")
def sent():
    return b"".join(text for _, text in simulate_plane(seconds_s=3.0).chunks)


@pytest.fixture(scope="module")
def in_process(sent):
    decoder = Decoder()
    pieces = [*decoder.feed(sent), *decoder.finish()]
    return [piece.raw for piece in pieces if isinstance(piece, Sound)]


class Pty:
    """The board's end of a pseudo-terminal."""

    def __init__(self):
        import tty

        self.board, port = os.openpty()
        tty.setraw(port)
        self.url, self.keep = os.ttyname(port), port

    def send(self, data):
        while data:
            data = data[os.write(self.board, data) :]

    def hear(self):
        return os.read(self.board, 4096)

    def cut(self):
        os.close(self.board)

    def close(self):
        for handle in (self.board, self.keep):
            with contextlib.suppress(OSError):
                os.close(handle)


class Tcp:
    """The board's end of a TCP port."""

    def __init__(self):
        self.listener = socket.create_server(("127.0.0.1", 0))
        self.url = f"socket://127.0.0.1:{self.listener.getsockname()[1]}"

    def _host(self):
        if not hasattr(self, "host"):
            self.host, _ = self.listener.accept()
        return self.host

    def send(self, data):
        self._host().sendall(data)

    def hear(self):
        return self._host().recv(4096)

    def cut(self):
        self._host().close()

    def close(self):
        with contextlib.suppress(OSError):
            self._host().close()
        self.listener.close()


class Telnet(Tcp):
    """The board's end of a serial port served over the network by RFC 2217."""

    def __init__(self):
        super().__init__()
        self.url = self.url.replace("socket", "rfc2217")
        self.ready = threading.Event()
        self.heard = b""
        threading.Thread(target=self._talk, daemon=True).start()

    def _talk(self):
        host = self._host()
        with serial.serial_for_url("loop://") as port, contextlib.suppress(OSError):
            self.manager = serial.rfc2217.PortManager(port, self)
            self.ready.set()
            while data := host.recv(1024):
                self.heard += b"".join(self.manager.filter(data))

    def write(self, data):
        self.host.sendall(data)

    def send(self, data):
        self.ready.wait(5)
        self.host.sendall(b"".join(self.manager.escape(data)))

    def cut(self):
        self.host.shutdown(socket.SHUT_RDWR)
        self.host.close()


@pytest.fixture(params=[pytest.param(Pty, marks=no_pty), Tcp, Telnet])
def board(request):
    made = request.param()
    yield made
    made.close()


def heard_from(link, count):
    heard, empty = [], 0
    link.start(lambda chunk: heard.append(chunk) or Taken(0.0, len(chunk), []))
    while sum(map(len, heard)) < count and empty < 50:
        empty += not link.read()
    return b"".join(heard)


def test_a_capture_over_a_real_port_equals_decoding_in_process(board, sent, in_process, tmp_path):
    link = open_link(board.url)
    writer = RecordingWriter(tmp_path / "a.sweep", {})
    capture = Capture(link, lambda: open_link(board.url), writer, SystemClock())
    sender = threading.Thread(target=board.send, args=(sent,))
    sender.start()
    while capture.builder.accepted < len(in_process):
        capture.step()
    capture.close()
    sender.join()
    assert [raw for _, raw in read_recording(tmp_path / "a.sweep").sentences] == in_process


def test_a_cut_is_told_after_the_last_byte_is_read(board):
    link = open_link(board.url)
    board.send(b"$PHLGQ,5922*62\r\n")
    assert heard_from(link, 16) == b"$PHLGQ,5922*62\r\n"
    board.cut()
    with pytest.raises(DeviceError, match=r"the link was lost: ."):
        heard_from(link, 1)
    link.close()


@pytest.mark.parametrize("kind", [pytest.param(Pty, marks=no_pty), Tcp])
def test_what_the_host_says_reaches_the_board(kind):
    board = kind()
    link = open_link(board.url)
    link.write(encode(Query()))
    assert board.hear() == b"$PHLGQ,5922*62\r\n"
    link.close()
    board.close()


def test_a_loop_gives_back_what_it_was_given():
    link = open_link("loop://")
    link.write(b"$PHLGQ,5922*62\r\n")
    assert heard_from(link, 16) == b"$PHLGQ,5922*62\r\n"
    link.close()


def free_port():
    with socket.create_server(("127.0.0.1", 0)) as taken:
        return taken.getsockname()[1]


@pytest.mark.parametrize(
    "url",
    [
        "rfc2217://127.0.0.1:{port}",
        "socket://127.0.0.1:{port}",
        "socket://127.0.0.1",
        "socket://127.0.0.1:99999",
        "socket://:7000",
        "elsewhere://board",
        "no-such-port",
        "no\0port",
        "",
        ".",
    ],
)
def test_a_port_that_cannot_be_opened_is_one_sentence_with_a_hint(url):
    with pytest.raises(DeviceError, match=r"cannot be opened: .") as caught:
        open_link(url.format(port=free_port()))
    assert "\n" not in str(caught.value)
    assert caught.value.hint


@pytest.mark.parametrize("kind", ["spy", "alt", "hwgrep", "cp2110", "file"])
def test_only_the_kinds_of_port_that_are_documented_are_opened(kind, tmp_path):
    # pyserial's spy:// writes all it sees into a file that is named behind the port.
    file = tmp_path / "job.toml"
    file.write_text("kept")
    with pytest.raises(DeviceError, match=f"{kind}:// is no kind of port that this program opens"):
        open_link(f"{kind}://loop://?file={file}")
    assert file.read_text() == "kept"


@no_pty
def test_a_port_in_use_is_not_shared_with_a_second_sweep():
    board = Pty()
    link = open_link(board.url)
    with pytest.raises(DeviceError, match="cannot be opened"):
        open_link(board.url)
    link.close()
    open_link(board.url).close()
    board.close()


@pytest.mark.parametrize(
    ("sent", "words"),
    [
        (framed(b"GPGGA,081231,4603.0,N,01430.6,E,1,08,0.9,300.0,M,46.9,M,,") * 3,
         "3 sentences, none with a heading: another device"),
        (b"\xf8\x00\x9c\xff" * 50, "200 bytes, no sentence: another speed or device"),
        (b"", "silence"),
    ],
)  # fmt: skip
def test_ports_tells_another_device_from_another_speed(sent, words, monkeypatch):
    def opened(url: str, baud: int) -> ReaderThread:
        chunks = [sent]
        read = lambda: chunks.pop() if chunks else b""  # noqa: E731
        return ReaderThread(SimpleNamespace(url=url, read=read, close=lambda: None))

    monkeypatch.setattr("logger.live.find_board.open_link", opened)
    done = CliRunner().invoke(main, ["ports", "--port", "made-up", "--seconds", "0.1"])
    assert done.stdout == f"made-up: {words}\n"
