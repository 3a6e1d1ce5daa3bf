"""Take a sweep from a live link: every byte into the recording, every sample to the listener."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from firmware_protocol import Piece, Query, Sound, encode
from logger.acquisition.clock import Clock
from logger.acquisition.link import Link
from logger.acquisition.source import as_note
from logger.acquisition.stream import StreamBuilder
from logger.acquisition.writer import RecordingWriter
from logger.errors import DeviceError


@dataclass(frozen=True)
class CaptureSettings:
    """When to give up.

    Parameters
    ----------
    first_sentence_s : float
        Without one sound sentence by then there is no board. [s]
    reconnect_s : float
        How long to try to open a lost port again. [s]
    """

    first_sentence_s: float = 10.0
    reconnect_s: float = 20.0


class Capture:
    """One recording being taken.

    The loop is the caller's: call `step` until it has what it wants, then `close`. Everything
    received is in the recording before `step` returns.

    Parameters
    ----------
    link : Link
        Open.
    reopen : callable
        Opens it again after a loss.
    writer : RecordingWriter
    clock : Clock
    settings : CaptureSettings
    say : callable
        Takes sentences for the operator.
    """

    def __init__(
        self,
        link: Link,
        reopen: Callable[[], Link],
        writer: RecordingWriter,
        clock: Clock,
        settings: CaptureSettings | None = None,
        say: Callable[[str], None] = lambda _: None,
    ) -> None:
        self.writer = writer
        self.builder = StreamBuilder()
        self._reopen_port = reopen
        self._clock = clock
        self._settings = settings or CaptureSettings()
        self._say = say
        self._zero = clock.seconds()
        self._link: Link | None = link
        self._lost_at = 0.0
        self._tried_at = 0.0
        self._bytes = 0
        self.latest_s = 0.0
        self._ask()

    def elapsed_s(self) -> float:
        """Seconds since the start of the recording."""
        return self._clock.seconds() - self._zero

    def step(self) -> list[Piece]:
        """Wait for bytes, a tenth of a second at most, and take them.

        Raises
        ------
        DeviceError
            No board answers on this port, or a lost link did not come back.
        InputError
            The disk refuses the recording.
        """
        if self._link is None:
            self._reopen()
            return []
        try:
            chunk = self._link.read()
        except DeviceError as error:
            self._lose(error)
            return []
        now = self.elapsed_s()
        if not chunk:
            if not self.builder.accepted and now > self._settings.first_sentence_s:
                raise DeviceError(
                    f"{self._bytes} bytes in {now:.0f} s and no sound sentence among them"
                    if self._bytes
                    else f"not one byte in {now:.0f} s",
                    getattr(self._link, "url", "port"),
                    hint="check the cable, the baud rate (115200) and that the board is running",
                )
            return []
        self._bytes += len(chunk)
        return self._keep(now, self.builder.feed(now, chunk))

    def note(self, **what: Any) -> None:
        """Put an operator's note into the recording at this moment."""
        now = self.elapsed_s()
        self.writer.note(now, **what)
        self.builder.note(as_note(now, what))

    def send(self, data: bytes) -> None:
        """Send bytes to the board; a lost link is found at the next `step`."""
        if self._link is not None:
            try:
                self._link.write(data)
            except DeviceError as error:
                self._lose(error)

    def close(self) -> None:
        """Let the port go and seal the recording."""
        if self._link is not None:
            self._link.close()
            self._link = None
        try:
            now = self.elapsed_s()
            self._keep(now, self.builder.finish(now))
        finally:
            self.writer.close()

    def _keep(self, now: float, pieces: list[Piece]) -> list[Piece]:
        self.writer.add(now, pieces)
        if any(isinstance(piece, Sound) for piece in pieces):
            self.latest_s = now
        return pieces

    def _ask(self) -> None:
        self.send(encode(Query()))

    def _lose(self, error: DeviceError) -> None:
        if self._link is not None:
            self._link.close()
        self._link = None
        self._lost_at = self._tried_at = self.elapsed_s()
        self.note(link="lost")
        self._say(f"{error}; what is recorded so far is kept, trying to open it again")

    def _reopen(self) -> None:
        now = self.elapsed_s()
        if now - self._lost_at > self._settings.reconnect_s:
            raise DeviceError(
                f"the link was lost and did not come back within {self._settings.reconnect_s:g} s",
                hint="what was recorded is kept; sweep the point again to add to it",
            )
        if now - self._tried_at < 0.2:
            self._clock.sleep(0.05)
            return
        self._tried_at = now
        try:
            self._link = self._reopen_port()
        except DeviceError:
            return
        self._keep(now, self.builder.finish(now))
        self.note(link="back")
        self._say(f"the link is back after {now - self._lost_at:.0f} s; go on")
        self._ask()
