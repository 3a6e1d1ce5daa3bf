"""Put virtual boards on a TCP port or a pseudo-terminal, in real time, faster, or unpaced.

A `Running` board is a conversation without a link and without a clock; the two servers only
move its bytes. Each connection meets the operator at the start of a task.
"""

from __future__ import annotations

import contextlib
import os
import select
import socket
import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace

from firmware_protocol import TRIGGER_KEY, Configure, Decoder, Query, Sound, encode
from firmware_protocol import Fault as BoardFault
from logger.errors import DeviceError, UsageError
from logger.simulation.board import Chunk
from logger.simulation.tasks import Task, simulate

MakeTask = Callable[[], Task]
"""Makes a task when a host connects, so that it can begin at that moment's date and sun."""

_SETTLE_S = 0.2  # pyserial throws away what it finds when it opens a port
_GRACE_S = 3.0  # for the host to hang up by itself after the trigger
_DONE_SHARE = 1 / 3
_POLL_S = 0.05


class Running:
    """One board carrying out a task, and what it answers to the host."""

    def __init__(self, task: Task) -> None:
        self.task = task
        self._decoder = Decoder()
        self._sent = 0
        done = simulate(task)
        presses = [key.t_s for key in done.motion.keys if key.key == TRIGGER_KEY and key.down]
        self.trigger_s = presses[-1] if presses else done.duration_s
        self._chunks: Sequence[Chunk] = done.chunks

    def done_enough(self, now_s: float) -> bool:
        """Whether a host that leaves now has had the task."""
        return now_s >= _DONE_SHARE * self.trigger_s

    @property
    def next_s(self) -> float | None:
        """When the next bytes are due; None when the task is over. [s]"""
        return self._chunks[self._sent][0] if self._sent < len(self._chunks) else None

    def due(self, now_s: float) -> bytes:
        """All bytes due by now that were not taken yet."""
        start = self._sent
        while self._sent < len(self._chunks) and self._chunks[self._sent][0] <= now_s:
            self._sent += 1
        return b"".join(text for _, text in self._chunks[start : self._sent])

    def hear(self, data: bytes, now_s: float) -> bytes:
        """Take bytes from the host and answer at once."""
        answer = b""
        for piece in self._decoder.feed(data):
            if not isinstance(piece, Sound):
                continue
            match piece.sentence:
                case Query():
                    answer += encode(self.task.settings.identity())
                case Configure() as wanted:
                    answer += self._configure(wanted, now_s)
        return answer

    def _configure(self, wanted: Configure, now_s: float) -> bytes:
        settings = self.task.settings
        t_ms = (round(now_s * 1000) + settings.start_ms) % 2**32
        try:
            changed = replace(settings, rate_hz=wanted.rate_hz, streams=wanted.streams)
        except UsageError:
            text = f"{wanted.streams} at {wanted.rate_hz} Hz overfills the link"
            return encode(BoardFault(t_ms, "CONFIG", text))
        if changed != settings:
            # The same motion, sampled anew; the counter goes on from the last instant sent.
            task = replace(self.task, settings=changed)
            done = simulate(task)
            keep = next((i for i, chunk in enumerate(done.chunks) if chunk[0] > now_s), None)
            if keep is not None:
                seq = (settings.start_seq + self._sent - keep) % 65536
                task = replace(task, settings=replace(changed, start_seq=seq))
                done = simulate(task)
            self.task = task
            self._chunks = done.chunks[keep:] if keep is not None else ()
            self._sent = 0
        return encode(changed.identity())


def serve(
    link: TcpLink | PtyLink,
    tasks: Iterable[MakeTask],
    speed: float | None = 1.0,
    say: Callable[[str], None] = lambda _: None,
) -> None:
    """Serve one task a connection, each in its turn.

    A host that hangs up early on, as one that only looks does, meets the same task again; one
    that has seen a third of it (a tumble may be enough before its end) meets the next.
    """
    for number, make in enumerate(tasks, start=1):
        finished = False
        while not finished:
            link.wait_for_host()
            time.sleep(_SETTLE_S)
            running = Running(make())
            task = running.task
            say(f"connection {number}: {task.purpose}, {running.trigger_s:.0f} s")
            finished = _converse(link, running, speed)
            if not finished:
                say(f"the host hung up early; {task.purpose} is served again")


def _converse(link: TcpLink | PtyLink, running: Running, speed: float | None) -> bool:
    """Move bytes both ways until the task is over or the host leaves; whether it was finished."""
    began = time.monotonic()

    def now() -> float:
        if speed is None:
            return running.trigger_s if running.next_s is None else running.next_s
        return (time.monotonic() - began) * speed

    try:
        while True:
            t = now()
            link.send(running.due(t))
            if running.next_s is None:
                break
            wait = 0.0 if speed is None else (running.next_s - now()) / speed
            link.send(running.hear(link.hear(min(max(wait, 0.0), _POLL_S)), t))
    except OSError:
        link.hang_up()
        return running.done_enough(t)
    until = time.monotonic() + _GRACE_S
    with contextlib.suppress(OSError):
        while time.monotonic() < until:
            link.send(running.hear(link.hear(_POLL_S), running.trigger_s))
    link.hang_up()
    return True


def _come(data: bytes) -> bytes:
    """Bytes that were read; where there are none although there was something, the host is gone."""
    if not data:
        raise BrokenPipeError
    return data


class TcpLink:
    """A listening TCP port that takes one host at a time; an OSError tells that it is gone."""

    def __init__(self, host: str = "127.0.0.1", port: int = 0) -> None:
        try:
            self._listener = socket.create_server((host, port))
        except (OSError, OverflowError) as error:
            raise DeviceError(
                f"cannot listen: {getattr(error, 'strerror', None) or error}",
                f"{host}:{port}",
                hint="take another port, or 0 for a free one",
            ) from error
        self.host = host
        self.port: int = self._listener.getsockname()[1]
        self._host: socket.socket | None = None

    @property
    def address(self) -> str:
        """What to give to ``--port``."""
        return f"socket://{self.host}:{self.port}"

    def wait_for_host(self) -> None:
        """Until a host connects; short waits, so that Ctrl-C is heard on every system."""
        self._listener.settimeout(0.5)
        while True:
            try:
                self._host, _ = self._listener.accept()
            except TimeoutError:
                continue
            self._host.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            self._host.settimeout(None)
            return

    def send(self, data: bytes) -> None:
        """Send to the host."""
        if self._host is not None:
            self._host.sendall(data)

    def hear(self, timeout_s: float) -> bytes:
        """What the host sent, after at most a while."""
        assert self._host is not None
        ready, _, _ = select.select([self._host], [], [], timeout_s)
        return _come(self._host.recv(4096)) if ready else b""

    def hang_up(self) -> None:
        """Let the host go."""
        if self._host is not None:
            # Half-closing first delivers what is still under way even if the host sent more.
            with contextlib.suppress(OSError):
                self._host.shutdown(socket.SHUT_WR)
            self._host.close()
            self._host = None

    def close(self) -> None:
        """Stop listening."""
        self.hang_up()
        self._listener.close()


class PtyLink:
    """A pseudo-terminal, which looks like a serial port; it tells as `TcpLink` does. POSIX only."""

    def __init__(self) -> None:
        try:
            import tty

            self._board, port = os.openpty()
        except (ImportError, AttributeError, OSError) as error:
            raise DeviceError(
                "this system has no pseudo-terminals",
                hint="serve on TCP instead: horizon-logger simulate --tcp 127.0.0.1:0",
            ) from error
        tty.setraw(port)
        self.address = os.ttyname(port)
        # While nobody has the port open the board's side reports a hang-up.
        os.close(port)
        os.set_blocking(self._board, False)

    def _hung_up(self) -> bool:
        poll = select.poll()
        poll.register(self._board, select.POLLHUP)
        return any(event & select.POLLHUP for _, event in poll.poll(0))

    def wait_for_host(self) -> None:
        """Until somebody opens the port."""
        while self._hung_up():
            time.sleep(0.01)

    def send(self, data: bytes) -> None:
        """Send, waiting for the host to make room."""
        left = memoryview(data)
        while left:
            if self._hung_up():
                raise BrokenPipeError
            _, ready, _ = select.select([], [self._board], [], _POLL_S)
            if ready:
                with contextlib.suppress(BlockingIOError):
                    left = left[os.write(self._board, left) :]

    def hear(self, timeout_s: float) -> bytes:
        """What the host sent, after at most a while; EIO where nobody has the port open."""
        ready, _, _ = select.select([self._board], [], [], timeout_s)
        try:
            return _come(os.read(self._board, 4096)) if ready else b""
        except BlockingIOError:
            return b""

    def hang_up(self) -> None:
        """Wait until the host has closed the port, throwing away what it still sends."""
        while not self._hung_up():
            with contextlib.suppress(OSError):
                os.read(self._board, 4096)
            time.sleep(0.01)

    def close(self) -> None:
        """Take the port away."""
        os.close(self._board)
