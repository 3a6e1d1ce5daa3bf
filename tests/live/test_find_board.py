"""Which port is used, heard on pseudo-terminals that a virtual board sends to."""

import os
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager

import pytest

from firmware_protocol import Identity, encode
from logger.errors import DeviceError
from logger.job import Job, read_job
from logger.live import find_board
from logger.live.find_board import identity_on, lend, listen

from .conftest import Bench, PlayedLink

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="Windows has no pty")

BOARD = encode(Identity(1, "played board", "0007", "1.0", 50, "MG"))


@contextmanager
def talking(words: bytes) -> Iterator[str]:
    """A pseudo-terminal that says the same again and again."""
    import tty

    ours, theirs = os.openpty()
    tty.setraw(theirs)
    done = threading.Event()

    def talk() -> None:
        while not done.wait(0.05):
            os.write(ours, words)

    talker = threading.Thread(target=talk)
    talker.start()
    try:
        yield os.ttyname(theirs)
    finally:
        done.set()
        talker.join()
        os.close(theirs)
        os.close(ours)


def found_on(monkeypatch: pytest.MonkeyPatch, *ports: str) -> None:
    monkeypatch.setattr(find_board, "serial_ports", lambda: dict.fromkeys(ports, ""))
    monkeypatch.setattr(find_board, "LISTEN_S", 0.5)


def test_a_port_that_is_given_is_used_and_remembered_with_its_speed(job: Job) -> None:
    with talking(BOARD) as port:
        lend(job, port, 4800, print).hang_up()
        known = read_job(job.folder)
        assert (known.port.url, known.port.baud) == (port, 4800)
        said: list[str] = []
        lent = lend(known, None, None, said.append)
        assert lent.url == port
        assert said == [f"port {port}, as before"]
        lent.hang_up()


def test_without_any_the_only_board_heard_is_used_and_named(
    job: Job, monkeypatch: pytest.MonkeyPatch
) -> None:
    with talking(BOARD) as board, talking(b"\x00\xff") as noise:
        found_on(monkeypatch, noise, board)
        said: list[str] = []
        lend(job, None, None, said.append).hang_up()
    assert said[-1].startswith(f"using {board}: played board, serial number 0007")
    assert read_job(job.folder).port.url == board


def test_two_boards_or_none_are_not_chosen_between(
    job: Job, monkeypatch: pytest.MonkeyPatch
) -> None:
    with talking(BOARD) as one, talking(BOARD) as other:
        found_on(monkeypatch, one, other)
        with pytest.raises(DeviceError, match="2 boards are heard") as caught:
            lend(job, None, None, print)
        assert one in caught.value.hint
    found_on(monkeypatch)
    with pytest.raises(DeviceError, match="no board is heard on any serial port"):
        lend(job, None, None, print)
    assert read_job(job.folder).port.url == ""


def test_a_slow_board_is_heard_at_its_own_speed(monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[int | None] = []

    def heard(url: str, baud: int | None, seconds: float, ask: bool) -> find_board.OnPort:
        asked.append(baud)
        return find_board.OnPort(url, baud, True, baud == 4800, "noise", None)

    monkeypatch.setattr(find_board, "_listen", heard)
    assert listen("/dev/ttyS0").baud == 4800
    assert asked == [115200, 38400, 4800]
    asked.clear()
    assert not listen("/dev/ttyS0", baud=9600).answers
    assert not listen("socket://localhost:7000").answers
    assert asked == [9600, None]  # a network port has no speed


def test_what_came_while_the_board_was_asked_who_it_is_is_not_lost(bench) -> None:
    swept: Bench = bench(())
    swept.links[0] = PlayedLink(swept.clock, [(0.1, BOARD), (0.2, b"$HCHDM,238.5,M*28\r\n")])
    swept.loop.port.again()
    said = identity_on(swept.loop.port)
    assert said is not None
    assert (said.serial_number, said.streams) == ("0007", "MG")
    swept.sweep(seconds=1.0)
    assert swept.recordings[0].read_bytes().count(b"$PHLGI") == 1
