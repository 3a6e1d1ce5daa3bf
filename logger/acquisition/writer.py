"""Write a recording: every record is on its way to the disk as soon as it exists."""

from __future__ import annotations

import datetime as dt
import hashlib
import os
import time
from collections.abc import Callable, Mapping
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path
from types import TracebackType
from typing import Any

from firmware_protocol import Piece, Sound, Unsound
from logger.acquisition.records import FIRST_LINE, compact_json
from logger.errors import InputError

SYNC_EVERY_S = 0.5


def utc_text(moment: dt.datetime) -> str:
    """ISO 8601 with milliseconds and Z."""
    utc = moment.astimezone(dt.UTC)
    return utc.strftime("%Y-%m-%dT%H:%M:%S.") + f"{utc.microsecond // 1000:03d}Z"


class RecordingWriter:
    """Appends records to a new file; never over an old one.

    Each call hands its bytes to the operating system before it returns, so a killed process
    loses nothing; a background thread has them forced to the disk twice a second, so a power cut
    loses a second at most.

    Parameters
    ----------
    path : Path
        Must not exist; missing folders are made.
    header : mapping
        What is known at the start; see the recording format.
    monotonic : callable, optional
        Seconds, for the pacing of forced writes only.

    Raises
    ------
    InputError
        The file exists or cannot be made; or, from any call, the disk refuses the bytes.
    """

    def __init__(
        self,
        path: Path,
        header: Mapping[str, Any],
        *,
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        self.path = Path(path)
        self._monotonic = monotonic
        self._sha = hashlib.sha256()
        self._lines = 0
        self._syncer = ThreadPoolExecutor(max_workers=1, thread_name_prefix="sync")
        self._syncing: Future[None] | None = None
        self._synced_at = monotonic()
        try:
            self.path.parent.mkdir(parents=True, exist_ok=True)
            self._file = open(self.path, "xb", buffering=0)  # noqa: SIM115 - closed by close()
        except FileExistsError:
            raise InputError(
                "this recording exists already and is never written over", str(path)
            ) from None
        except OSError as error:
            raise InputError(f"cannot be written: {error.strerror}", str(path)) from error
        self._put(FIRST_LINE + b"\n", lines=0)
        self._put(b"h " + compact_json(dict(header)) + b"\n")

    def add(self, t_s: float, pieces: list[Piece]) -> None:
        """Record what one chunk of bytes decoded to.

        Parameters
        ----------
        t_s : float
            Receive time from the start of the recording. [s]
        pieces : list of Sound or Unsound
        """
        if pieces:
            stamp = b"%.3f " % t_s
            self._put(
                b"".join(
                    (b"s " + stamp + r.raw if isinstance(r, Sound) else b"x " + stamp + _hex(r))
                    + b"\n"
                    for r in pieces
                ),
                lines=len(pieces),
            )

    def note(self, t_s: float, **what: Any) -> None:
        """Record the operator's note.

        Parameters
        ----------
        t_s : float
            [s]
        **what
            ``label``, ``kind`` or anything else worth keeping.
        """
        self._put(b"n %.3f " % t_s + compact_json(what) + b"\n")

    def close(self, *, seal: bool = True) -> None:
        """Seal the recording, force it to the disk and close it; a second call does nothing."""
        if self._file.closed:
            return
        try:
            if seal:
                end = {"records": self._lines, "sha256": self._sha.hexdigest()}
                self._put(b"e " + compact_json(end) + b"\n")
            os.fsync(self._file.fileno())
        except OSError as error:
            raise InputError(
                f"the disk refused the last bytes: {error.strerror}", str(self.path)
            ) from error
        finally:
            self._syncer.shutdown(wait=True)
            self._file.close()

    def __enter__(self) -> RecordingWriter:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close(seal=kind is None)

    def _put(self, data: bytes, lines: int = 1) -> None:
        try:
            rest = memoryview(data)
            while rest:  # an unbuffered write may take a part only
                rest = rest[self._file.write(rest) or 0 :]
            self._sha.update(data)
            self._lines += lines
            self._sync()
        except OSError as error:
            raise InputError(
                f"the disk refused to take more: {error.strerror}",
                str(self.path),
                hint="free or change the disk; what is recorded so far is kept",
            ) from error

    def _sync(self) -> None:
        now = self._monotonic()
        if now - self._synced_at < SYNC_EVERY_S:
            return
        if self._syncing is not None:
            if not self._syncing.done():
                return
            self._syncing.result()  # a failed forced write surfaces here
        self._synced_at = now
        # On slow cards a forced write blocks for longer than the port's buffer holds.
        self._syncing = self._syncer.submit(os.fsync, self._file.fileno())


def _hex(unsound: Unsound) -> bytes:
    return unsound.raw.hex().encode("ascii")
