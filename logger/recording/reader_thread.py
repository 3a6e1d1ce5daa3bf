"""The thread that reads a port and records what comes: it waits for nothing else."""

from __future__ import annotations

import contextlib
import queue
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Protocol, TypeAlias

from firmware_protocol import Piece
from logger.errors import DeviceError

POLL_S = 0.1
# Sentences, or scraps of noise: three times the 600 that the contract's fastest board sends
PIECES_A_SECOND = 2_000
# What may come at once: a whole sweep of a virtual board that is not paced (`simulate --speed
# 0`), or what a stalled network held back for 50 s of the contract's fastest board
PIECES_AT_ONCE = 30_000
# Pieces that may wait to be shown: nearly three minutes of the fastest board, some 40 MB
MOST_WAITING = 100_000
# Of what comes while nobody records, so that nothing is lost between two recordings. [bytes]
_KEPT_EARLY = 64 * 2**10


class RawPort(Protocol):
    """What the reader thread needs of a port: one that is gone may raise whatever it will.

    `close` never raises.
    """

    url: str

    def read(self) -> bytes:
        """Return what has come, after at most a tenth of a second; b"" if nothing has."""

    def write(self, data: bytes) -> None:
        """Send bytes; what the other end does not take soon is dropped."""

    def close(self) -> None: ...  # noqa: D102


class FloodError(DeviceError):
    """More came than any board sends, or than can be kept up with."""


@dataclass(frozen=True)
class Taken:
    """One chunk of bytes, recorded."""

    t_s: float  # Receive time from the start of the recording. [s]
    size: int  # Bytes
    pieces: list[Piece]  # What they decoded to


Record: TypeAlias = Callable[[bytes], Taken]


class Link(Protocol):
    """What capture needs of an open port: `ReaderThread`, or what a test makes up."""

    url: str

    def start(self, record: Record) -> None:
        """From now on have every chunk recorded, also the empty one of a silent moment."""

    def read(self) -> list[Taken]:
        """What was recorded since the last call; waits a tenth of a second at most for some."""

    def stop(self) -> list[Taken]:
        """Record no more; what was recorded and not read yet."""

    def write(self, data: bytes) -> None:
        """Send bytes."""

    def close(self) -> None:
        """Let the port go; never raises."""


class ReaderThread:
    """Reads a port as long as it is open.

    Whoever takes from it may draw a screen, load a package or stop altogether: what comes is
    stamped and recorded when it comes.
    """

    def __init__(self, port: RawPort) -> None:
        self.url = port.url
        self._port = port
        self._record: Record | None = None
        self._recording = threading.Lock()
        self._early = b""
        self._come: queue.SimpleQueue[Taken | None] = queue.SimpleQueue()
        self._put = self._read = 0  # pieces so far; one thread counts each
        self._flow = _Flow()
        self._fault: Exception | None = None
        self._closing = False
        self._thread = threading.Thread(target=self._run, name=f"read {port.url}", daemon=True)
        self._thread.start()

    def start(self, record: Record) -> None:
        """See `Link.start`; what came a moment ago goes first."""
        with self._recording:
            self._record = record

    def read(self) -> list[Taken]:
        """See `Link.read`."""
        come = self._waiting(POLL_S)
        if not come and self._fault is not None:
            raise self._fault
        return come

    def stop(self) -> list[Taken]:
        """See `Link.stop`. Raises what ended the recording, other than a lost link."""
        with self._recording:
            self._record = None
        if self._fault is not None and not isinstance(self._fault, DeviceError):
            raise self._fault
        return self._waiting(0.0)

    def write(self, data: bytes) -> None:
        """See `Link.write`."""
        with _told_as_lost(self.url):
            self._port.write(data)

    def close(self) -> None:
        """See `Link.close`."""
        self._closing = True
        self._thread.join(timeout=2 * POLL_S)
        self._port.close()

    def _waiting(self, wait_s: float) -> list[Taken]:
        come: list[Taken | None] = []
        with contextlib.suppress(queue.Empty):
            come.append(self._come.get(timeout=wait_s))
            # Not until it is empty: it may be filled as quickly.
            come += [self._come.get_nowait() for _ in range(self._come.qsize())]
        taken = [one for one in come if one is not None]
        self._read += sum(len(one.pieces) for one in taken)
        return taken

    def _run(self) -> None:
        try:
            while not self._closing:
                with _told_as_lost(self.url):
                    chunk = self._port.read()
                with self._recording:
                    self._take(chunk)
        except Exception as error:  # raised again where it is waited for
            self._fault = error
        self._come.put(None)

    def _take(self, chunk: bytes) -> None:
        if self._record is None:
            self._early = (self._early + chunk)[-_KEPT_EARLY:]
            return
        if self._early:
            chunk, self._early = self._early + chunk, b""
        taken = self._record(chunk)
        if not taken.size or self._fault is not None:
            return
        self._put += len(taken.pieces)
        self._come.put(taken)
        if self._put - self._read > MOST_WAITING:
            # Told once all of it has been read; recording goes on until then.
            self._fault = FloodError(
                "more comes than this computer can keep up with",
                f"port {self.url}",
                hint="end other programs; what was recorded is kept",
            )
        self._flow.take(time.monotonic(), len(taken.pieces), self.url)


@contextlib.contextmanager
def _told_as_lost(url: str) -> Iterator[None]:
    """In one sentence whatever a port raises: pyserial has several kinds when one goes away."""
    try:
        yield
    except Exception as error:
        raise DeviceError(f"the link was lost: {plain(error)}", f"port {url}") from error


def plain(error: Exception) -> str:
    """The reason that the system gives, on one line."""
    return str(getattr(error, "strerror", None) or error).split("\n")[0]


class _Flow:
    """Finds a port that no board is on by how much comes from it."""

    def __init__(self) -> None:
        self._since_s = self._at_s = 0.0
        self._above = 0.0  # What has come beyond the rate that is allowed
        self._came = 0

    def take(self, now_s: float, pieces: int, url: str) -> None:
        """Count more; raises FloodError."""
        self._above -= PIECES_A_SECOND * (now_s - self._at_s)
        self._at_s = now_s
        if self._above <= 0:
            self._above, self._came, self._since_s = 0.0, 0, now_s
        self._above += pieces
        self._came += pieces
        if self._above > PIECES_AT_ONCE:
            took_s = now_s - self._since_s
            when = "at once" if took_s < 0.05 else f"in {took_s:.1f} s"
            raise FloodError(
                f"{self._came} sentences or scraps of noise came {when}, more than any board sends",
                f"port {url}",
                hint="see what is on it with: horizon-logger ports; what was recorded is kept",
            )
