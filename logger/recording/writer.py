"""Write a recording: every record is on its way to the disk as soon as it exists."""

from __future__ import annotations

import contextlib
import datetime as dt
import hashlib
import json
import os
import time
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path
from typing import Any

from firmware_protocol import Decoder, Piece, Sound
from logger.errors import InputError
from logger.moments import Note
from logger.recording.reader import FIRST_LINE, MOST_BYTES, MOST_RECORDS
from logger.site import Site
from logger.structured import utc_text

SYNC_EVERY_S = 0.5


def header_of(
    purpose: str, started: dt.datetime, site: Site, more: Mapping[str, Any]
) -> dict[str, Any]:
    """What a recording says at its start; ``elevation_m`` is metres above the sea."""
    return {
        "started": utc_text(started, "milliseconds"),
        "latitude": site.latitude_deg,
        "longitude": site.longitude_deg,
        "elevation_m": site.altitude_m,
        "purpose": purpose,
        **{key: value for key, value in more.items() if value not in (None, "")},
    }


def write_recording(
    path: Path,
    header: Mapping[str, Any],
    chunks: Sequence[tuple[float, bytes]],
    notes: Sequence[Note] = (),
) -> None:
    """A sealed recording of bytes received at moments, with the operator's notes among them."""
    decoder = Decoder()
    said = [{"label": n.label, "kind": n.kind} | dict(n.more) for n in notes]
    records: list[tuple[float, int, Any]] = [
        *((t_s, 0, text) for t_s, text in chunks),
        *((round(n.t_s, 3), 1, what) for n, what in zip(notes, said, strict=True)),
    ]
    with RecordingWriter(path, header) as writer:
        for t_s, kind, what in sorted(records, key=lambda record: record[:2]):
            if kind == 0:
                writer.add(t_s, decoder.feed(what))
            else:
                writer.note(t_s, **{key: value for key, value in what.items() if value})


class RecordingWriter:
    """Appends records to a new file; never over an old one.

    Each call hands its bytes to the operating system before it returns, so a killed process
    loses nothing; a background thread has them forced to the disk twice a second, so a power cut
    loses a second at most, as long as something is put or `tick` is called as often.
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
        self._size = self._forced_size = 0
        self._refusal: InputError | None = None
        self._syncer = ThreadPoolExecutor(max_workers=1, thread_name_prefix="sync")
        self._syncing: Future[None] | None = None
        self._synced_at = monotonic()
        try:
            self._made_folder = not self.path.parent.exists()
            self.path.parent.mkdir(parents=True, exist_ok=True)
            self._file = open(self.path, "xb", buffering=0)  # noqa: SIM115 - closed by close()
        except (OSError, ValueError) as error:
            if isinstance(error, FileExistsError) and os.path.lexists(self.path):
                what = "this recording exists already and is never written over"
            else:
                what = f"cannot be written: {getattr(error, 'strerror', None) or error}"
            raise InputError(what, str(path)) from error
        try:
            self._put(FIRST_LINE + b"h " + _json(dict(header)) + b"\n")
        except BaseException:
            # Half a beginning is no recording, and must not pass for one that was cut short.
            self.close(seal=False)
            self.discard()
            raise
        _force_folder(self.path.parent)

    @property
    def full(self) -> bool:
        """Whether it is nearly as long as a recording may be that is to be read again."""
        return self._lines > MOST_RECORDS * 0.99 or self._size > MOST_BYTES * 0.99

    def add(self, t_s: float, pieces: list[Piece]) -> None:
        """Record what one chunk of bytes decoded to."""
        if pieces:
            sound, not_sound = b"s %.3f " % t_s, b"x %.3f " % t_s
            lines = [
                sound + one.raw if isinstance(one, Sound) else not_sound + one.raw.hex().encode()
                for one in pieces
            ]
            self._put(b"\n".join(lines) + b"\n", len(lines))

    def note(self, t_s: float, **what: Any) -> None:
        """Record the operator's note."""
        self._put(b"n %.3f " % t_s + _json(what) + b"\n")

    def tick(self) -> None:
        """Nothing came: still see to it that what came before reaches the disk."""
        try:
            self._sync()
        except OSError as error:
            raise self._refused(error) from error

    def close(self, *, seal: bool = True) -> None:
        """Seal the recording, force it to the disk and close it; a second call does nothing.

        A recording whose disk has refused bytes is left without a seal, as a cut one.
        """
        if self._file.closed:
            return
        try:
            if seal and self._refusal is None:
                end = {"records": self._lines, "sha256": self._sha.hexdigest()}
                self._put(b"e " + _json(end) + b"\n")
            os.fsync(self._file.fileno())
        except OSError as error:
            if self._refusal is None:  # otherwise it was told already
                raise self._refused(error) from error
        finally:
            self._syncer.shutdown(wait=True)
            self._file.close()

    def discard(self) -> None:
        """Take a recording away into which nothing came, and the folder made for it."""
        try:
            self.path.unlink(missing_ok=True)
        except OSError as error:
            raise self._refused(error) from error
        if self._made_folder:
            with contextlib.suppress(OSError):  # it holds something else by now
                self.path.parent.rmdir()

    def __enter__(self) -> RecordingWriter:
        return self

    def __exit__(self, kind: type[BaseException] | None, *_: object) -> None:
        self.close(seal=kind is None)

    def _put(self, data: bytes, lines: int = 1) -> None:
        if self._refusal is not None:
            raise self._refusal  # a part of a line may be on the disk: nothing may follow it
        try:
            rest = memoryview(data)
            while rest:  # an unbuffered write may take a part only
                rest = rest[self._file.write(rest) or 0 :]
            self._sha.update(data)
            self._size += len(data)
            self._lines += lines
            self._sync()
        except OSError as error:
            raise self._refused(error) from error

    def _refused(self, error: OSError) -> InputError:
        self._refusal = InputError(
            f"the disk refused to take more: {error.strerror or error}",
            str(self.path),
            hint="free or change the disk; what is recorded so far is kept",
        )
        return self._refusal

    def _sync(self) -> None:
        now = self._monotonic()
        if now - self._synced_at < SYNC_EVERY_S:
            return
        self._synced_at = now
        # Bytes written to a file without a name are lost when it is closed.
        if not os.path.samestat(os.stat(self.path), os.fstat(self._file.fileno())):
            raise OSError("another file stands in its place")
        if self._syncing is not None:
            if not self._syncing.done():
                return
            self._syncing.result()  # a failed forced write surfaces here
        if self._size != self._forced_size:
            self._forced_size = self._size
            # On slow cards a forced write blocks for longer than the port's buffer holds.
            self._syncing = self._syncer.submit(os.fsync, self._file.fileno())


def _force_folder(folder: Path) -> None:
    """Have the new file's name reach the disk too; Windows has no such call and no such need."""
    if hasattr(os, "O_DIRECTORY"):
        with contextlib.suppress(OSError):  # some network disks refuse it
            handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
            try:
                os.fsync(handle)
            finally:
                os.close(handle)


def _json(value: Any) -> bytes:
    """One line of JSON: no spaces, real letters, NaN refused."""
    text = json.dumps(value, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    # A lone surrogate (from undecodable bytes in a file name, say) has no UTF-8.
    return text.encode("utf-8", errors="replace")
