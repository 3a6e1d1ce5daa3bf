"""One port for a whole survey day, lent to one recording after the other."""

from __future__ import annotations

import os
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from logger.errors import DeviceError
from logger.recording import Link, RecordingWriter, Taken

PAUSE_S = 0.2
"""Between closing a port and opening it again. [s]"""


class LentPort:
    """A link that outlives the captures it is lent to."""

    def __init__(
        self,
        open_port: Callable[[], Link],
        url: str = "port",
        pause: Callable[[float], None] = time.sleep,
    ) -> None:
        self.url = url
        self._pause = pause
        self._open = open_port
        self._link: Link | None = open_port()
        self._returned = b""
        self._first: list[Taken] = []

    def start(self, record: Callable[[bytes], Taken]) -> None:
        """What was given back goes first, then what comes; see `Link.start`."""
        if self._returned:
            self._first = [record(self._returned)]
            self._returned = b""
        self._lent().start(record)

    def read(self) -> list[Taken]:
        """See `Link.read`."""
        first, self._first = self._first, []
        return first or self._lent().read()

    def stop(self) -> list[Taken]:
        """See `Link.stop`."""
        first, self._first = self._first, []
        return first + (self._link.stop() if self._link is not None else [])

    def write(self, data: bytes) -> None:
        """See `Link.write`."""
        self._lent().write(data)

    def close(self) -> None:
        """End a capture's use of the port; the port stays open for the next one."""

    def again(self) -> LentPort:
        """Open the port anew after a loss."""
        if self._link is not None:
            self.hang_up()
            # The other side must be given the time to notice.
            self._pause(PAUSE_S)
        self._link = self._open()
        return self

    def give_back(self, data: bytes) -> None:
        """Bytes that the next reader is to have first."""
        self._returned = data + self._returned

    def hang_up(self) -> None:
        """Let the real port go."""
        if self._link is not None:
            self._link.close()
            self._link = None

    def _lent(self) -> Link:
        if self._link is None:
            raise DeviceError("the port is closed", f"port {self.url}")
        return self._link


class Unrecorded(RecordingWriter):
    """Takes a capture's records and keeps none: between two sweeps the board is only watched."""

    def __init__(self) -> None:
        self.path = Path(os.devnull)

    def _keep_nothing(self, *_: Any, **__: Any) -> None: ...

    add = note = tick = close = discard = _keep_nothing
