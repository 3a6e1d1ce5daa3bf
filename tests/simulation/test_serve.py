"""A host with pyserial finds the virtual board on a pseudo-terminal and on TCP alike."""

import os
import threading
from collections.abc import Callable, Iterator
from dataclasses import replace

import pytest
import serial

from firmware_protocol import Configure, Cue, Decoder, Identity, Key, Query, Sound, encode
from logger.errors import DeviceError
from logger.simulation import BoardSettings, Operator, Task, day_task, scene_named, simulate
from logger.simulation.serve import PtyLink, Running, TcpLink, serve
from logger.simulation.tasks import DEFAULT_START

posix = pytest.mark.skipif(os.name != "posix", reason="pseudo-terminals are POSIX only")
SHORT = Task(
    "sweep",
    scenes=(scene_named("street", 1),),
    operator=replace(Operator(), sectors=((0.0, 30.0),)),
    settings=BoardSettings(link_baud=None),
)


def task(name: str = "sweep") -> Task:
    return day_task(SHORT, name, 0, DEFAULT_START)


def until_trigger(port: serial.SerialBase, count: int) -> bytes:
    got = b""
    while len(got) < count:
        more = port.read(count - len(got))
        assert more, "the board fell silent"
        got += more
    return got


Link = TcpLink | PtyLink


@pytest.fixture(params=["tcp", pytest.param("pty", marks=posix)])
def link(request: pytest.FixtureRequest) -> Iterator[Link]:
    made: Link = TcpLink() if request.param == "tcp" else PtyLink()
    yield made
    made.close()


@pytest.fixture
def served(link: Link) -> Iterator[Callable[..., str]]:
    threads: list[threading.Thread] = []

    def start(names: list[str], **how: object) -> str:
        tasks = [lambda name=name: task(name) for name in names]
        thread = threading.Thread(target=serve, args=(link, tasks), kwargs=how, daemon=True)
        thread.start()
        threads.append(thread)
        return link.address

    yield start
    for thread in threads:
        thread.join(10)
        assert not thread.is_alive()


def test_each_connection_meets_the_next_task(
    served: Callable[..., str], link: Link, monkeypatch: pytest.MonkeyPatch
) -> None:
    free, wait = threading.Semaphore(0), link.wait_for_host
    monkeypatch.setattr(link, "wait_for_host", lambda: (free.release(), wait()))
    address = served(["plane", "level"], speed=None)
    for name in ("plane", "level"):
        expected = simulate(task(name)).sent
        # A pseudo-terminal that is opened again at once has, to its other end, never been closed.
        assert free.acquire(timeout=10)
        with serial.serial_for_url(address, timeout=5) as port:
            assert until_trigger(port, len(expected)) == expected


def test_a_host_that_leaves_early_meets_the_same_task_again(served: Callable[..., str]) -> None:
    expected = simulate(task("level")).sent
    noticed = threading.Event()
    address = served(
        ["level"], speed=20.0, say=lambda text: noticed.set() if "hung up" in text else None
    )
    with serial.serial_for_url(address, timeout=5) as port:
        assert until_trigger(port, 2000) == expected[:2000]
    assert noticed.wait(10)
    with serial.serial_for_url(address, timeout=5) as port:
        assert until_trigger(port, len(expected)) == expected


def test_a_tumble_that_was_enough_before_its_end_is_done() -> None:
    running = Running(task("compass"))
    assert not running.done_enough(5.0)
    assert running.done_enough(30.0)


def test_the_board_answers_while_it_sends(served: Callable[..., str]) -> None:
    address = served(["plane"], speed=15.0)
    decoder, said = Decoder(), []
    with serial.serial_for_url(address, timeout=5) as port:
        port.write(encode(Query()) + encode(Configure(20, "MG")))
        while not any(isinstance(s, Key) and s.key == 1 for s in said):
            said += [p.sentence for p in decoder.feed(port.read(500)) if isinstance(p, Sound)]
    identities = [s for s in said if isinstance(s, Identity)]
    assert {(i.rate_hz, i.streams) for i in identities} == {(50, "AMG"), (20, "MG")}
    assert decoder.lost == 0
    assert not decoder.refused


def test_cues_are_taken_without_an_answer() -> None:
    assert Running(task("plane")).hear(encode(Cue("GOOD")), 1.0) == b""


def test_a_port_in_use_is_one_clear_sentence() -> None:
    first = TcpLink()
    with pytest.raises(DeviceError, match="cannot listen"):
        TcpLink("127.0.0.1", first.port)
    first.close()


def test_a_system_without_pseudo_terminals_points_to_tcp(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delattr(os, "openpty", raising=False)
    with pytest.raises(DeviceError, match="no pseudo-terminals") as refused:
        PtyLink()
    assert "--tcp" in refused.value.hint
