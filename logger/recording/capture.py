"""Take a sweep from a live link: every byte into the recording, every sample to the listener."""

from __future__ import annotations

import threading
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from firmware_protocol import Decoder, Piece, Query, Sound, encode
from logger.errors import DeviceError
from logger.recording.clocks import SystemClock
from logger.recording.decode import StreamBuilder
from logger.recording.port_diagnosis import SILENCE, Heard, heard
from logger.recording.reader_thread import FloodError, Link, Taken
from logger.recording.samples import as_note
from logger.recording.writer import RecordingWriter


@dataclass(frozen=True)
class CaptureSettings:
    """When to give up."""

    first_sample_s: float = 10.0  # Without one measuring instant by then there is no board. [s]
    # Without one sound sentence for so long the link counts as lost: a dropped network link, or
    # a board that hangs, gives no other sign. [s]
    silence_s: float = 10.0
    # A link opened again that stays without a sound sentence is opened anew after this. [s]
    reopen_every_s: float = 5.0
    give_up_s: float = 20.0  # How long a lost link is waited for. [s]
    # The computer's wall clock was set if it moves by more against the other clock. [s]
    clock_step_s: float = 1.5


class Capture:
    """One recording being taken.

    The loop is the caller's: call `step` until it has what it wants, then `close`. What comes is
    stamped and recorded where the link is read, on a thread of its own, however long the caller
    stays away. A link that is lost is noted, opened again, and noted. A recording into which
    nothing came is taken away at the end.
    """

    def __init__(
        self,
        link: Link,
        reopen: Callable[[], Link],
        writer: RecordingWriter,
        clock: SystemClock,
        settings: CaptureSettings | None = None,
        say: Callable[[str], None] = lambda _: None,
    ) -> None:
        self.writer = writer
        self.builder = StreamBuilder()
        self.latest_s = 0.0
        self._decoder = Decoder()
        self._reopen_port = reopen
        self._clock = clock
        self._settings = settings or CaptureSettings()
        self._say = say
        self._zero = clock.seconds()
        self._wall_zero = clock.utc()
        self._wall_moved_s = 0.0
        self._lost_at: float | None = None
        self._tried_at = 0.0
        self._bytes = 0
        self._notes = 0
        self._left: list[Piece] = []
        # Notes and chunks come from two threads; the file is to hold them in the order of time.
        self._recording = threading.Lock()
        # A Ctrl-C reaches the main thread alone: what it must not split runs on another.
        self._apart = ThreadPoolExecutor(max_workers=1, thread_name_prefix="recording")
        self._connect(link)

    def elapsed_s(self) -> float:
        """Seconds since the start of the recording."""
        return self._clock.seconds() - self._zero

    def step(self) -> list[Piece]:
        """Wait for bytes, a tenth of a second at most, and take what came since the last step."""
        self._watch_wall_clock()
        pieces, self._left = self._left, []
        if self._link is None:
            with self._recording:
                self.writer.tick()
            self._reopen()
        else:
            try:
                pieces += self._follow(self._link.read())
            except FloodError:
                raise
            except DeviceError as error:
                self._lose(str(error))
        self._judge_silence()
        return pieces

    def note(self, **what: Any) -> None:
        """Put an operator's note into the recording at this moment."""
        self._notes += 1
        self._note(what)

    def send(self, data: bytes) -> None:
        """Send bytes to the board; a lost link is found at the next `step`."""
        if self._link is not None:
            try:
                self._link.write(data)
            except DeviceError as error:
                self._lose(str(error))

    def stop(self) -> list[Piece]:
        """Take no more from the link; what came and no `step` has returned yet.

        Its last piece may be a sentence still on its way.
        """
        self._release(let_go=False)
        rest, self._left = self._left, []
        return rest + self._apart.submit(self._finish).result()

    def close(self) -> None:
        """Let the port go and seal the recording."""
        with self._apart:
            self._apart.submit(self._close).result()

    def _close(self) -> None:
        try:
            self._release()
            self._finish()
        finally:
            self.writer.close()
        if self.empty:
            self.writer.discard()

    @property
    def empty(self) -> bool:
        """Whether not one byte came and nothing was noted: there is nothing to keep."""
        return not (self._bytes or self._notes)

    @property
    def heard(self) -> Heard | None:
        """What came so far instead of a measurement; None once there is one."""
        return heard(self._bytes, self.builder)

    def _connect(self, link: Link) -> None:
        self._link: Link | None = link
        link.start(self._record)
        self.send(encode(Query()))

    def _record(self, chunk: bytes) -> Taken:
        """Called where the link is read, which may be another thread."""
        with self._recording:
            now = self.elapsed_s()
            pieces = self._decoder.feed(chunk)
            self.writer.tick()
            self.writer.add(now, pieces)
        return Taken(now, len(chunk), pieces)

    def _follow(self, come: list[Taken]) -> list[Piece]:
        pieces: list[Piece] = []
        boards_before = len(self.builder.boards)
        for one in come:
            self._bytes += one.size
            for piece in one.pieces:
                self.builder.take(one.t_s, piece)
            pieces += one.pieces
            if any(isinstance(piece, Sound) for piece in one.pieces):
                self.latest_s = one.t_s
                if self._lost_at is not None:
                    self._say(f"the link is back after {one.t_s - self._lost_at:.0f} s; go on")
                    self._lost_at = None
        for before, after in pairwise(self.builder.boards[max(boards_before - 1, 0) :]):
            self._say(f"{after.after(before)}: each gets its own calibrations, or none")
        return pieces

    def _finish(self) -> list[Piece]:
        """What is left of a last sentence; only with no link being read."""
        with self._recording:
            now = self.elapsed_s()
            pieces = self._decoder.finish()
            self.writer.add(now, pieces)
        for piece in pieces:
            self.builder.take(now, piece)
        return pieces

    def _note(self, what: dict[str, Any]) -> None:
        def write() -> None:
            with self._recording:
                now = self.elapsed_s()
                self.writer.note(now, **what)
            self.builder.note(as_note(now, what))

        self._apart.submit(write).result()

    def _release(self, let_go: bool = True) -> None:
        link, self._link = self._link, None
        if link is not None:
            try:
                self._left += self._follow(link.stop())
            finally:
                if let_go:
                    link.close()

    def _judge_silence(self) -> None:
        now, settings = self.elapsed_s(), self._settings
        if self._lost_at is not None:
            if now - self._lost_at > settings.give_up_s:
                raise DeviceError(
                    f"the link was lost and did not come back within {settings.give_up_s:g} s",
                    hint="what was recorded is kept; sweep the point again to add to it",
                )
            if self._link is not None and now - self._tried_at > settings.reopen_every_s:
                self._release()
        elif not len(self.builder):
            if now > settings.first_sample_s:
                came = self.heard or SILENCE
                port = self._link.url if self._link is not None else "port"
                raise DeviceError(came.within(f" in {now:.0f} s"), port, came.hint)
        elif now - self.latest_s > settings.silence_s:
            self._lose(f"no sentence for {now - self.latest_s:.0f} s")

    def _lose(self, why: str) -> None:
        self._release()
        if self._lost_at is None:
            self._lost_at = self.elapsed_s()
            self._note({"link": "lost"})
            self._say(f"{why}; what is recorded so far is kept, trying to open it again")
        self._tried_at = self.elapsed_s()

    def _reopen(self) -> None:
        now = self.elapsed_s()
        if now - self._tried_at < 0.2:
            self._clock.sleep(0.05)
            return
        self._tried_at = now
        try:
            link = self._reopen_port()
        except DeviceError:
            return
        self._apart.submit(self._finish).result()
        self._note({"link": "back"})
        self._connect(link)

    def _watch_wall_clock(self) -> None:
        wall_s = (self._clock.utc() - self._wall_zero).total_seconds()
        moved_s = wall_s - self.elapsed_s()
        step_s = moved_s - self._wall_moved_s
        # Slow corrections by a time service, and leap seconds, are within it.
        if abs(step_s) > self._settings.clock_step_s:
            self._note({"host_clock_moved_s": round(step_s, 1)})
            self._say(
                f"this computer's clock was set by {step_s:+.0f} s: "
                "the date and time of this recording are in doubt, its durations are not"
            )
        self._wall_moved_s = moved_s
