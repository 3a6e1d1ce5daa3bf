"""The serial link: whatever ``serial_for_url`` opens, read as it comes."""

from __future__ import annotations

import contextlib
import queue
import threading
from typing import Any, Protocol
from urllib.parse import urlsplit

from logger.errors import DeviceError

BAUD_RATE = 115200
POLL_S = 0.1
WRITE_S = 0.5


class Link(Protocol):
    """What capture needs of a port."""

    def read(self) -> bytes:
        """Return what has come, after at most a tenth of a second; b"" if nothing has."""
        ...

    def write(self, data: bytes) -> None:
        """Send bytes."""
        ...

    def close(self) -> None:
        """Let the port go; never raises."""
        ...


class SerialLink:
    """A port opened by pyserial, read by a thread of its own.

    A serial driver holds 4 KiB, a quarter of a second of a fast board: reading must not wait for
    whatever the program is busy with.
    """

    def __init__(self, url: str, baud_rate: int = BAUD_RATE) -> None:
        import serial

        _refuse_without_port_number(url)
        self.url = url
        self._gone = (serial.SerialException, OSError)
        # pyserial's RFC 2217 client knows no limit to writing.
        write_s = None if url.lower().startswith("rfc2217://") else WRITE_S
        try:
            # Two programs reading one port would each get half of it: hence exclusive.
            self._port: Any = serial.serial_for_url(
                url, baudrate=baud_rate, timeout=POLL_S, write_timeout=write_s, exclusive=True
            )
        except (*self._gone, ValueError) as error:
            raise DeviceError(
                f"cannot be opened: {_plain(error)}",
                f"port {url}",
                hint="is the board, or what serves it, on? Serial ports are listed by: "
                "horizon-logger ports; a network port is socket://HOST:PORT",
            ) from error
        # The socket handler cannot tell how much waits; without a timeout it reads all there is.
        self._counts = not url.lower().startswith("socket://")
        self._come: queue.SimpleQueue[bytes | None] = queue.SimpleQueue()
        self._loss: DeviceError | None = None
        self._closing = False
        self._reader = threading.Thread(target=self._read_on, name=f"read {url}", daemon=True)
        self._reader.start()

    def read(self) -> bytes:
        """See `Link.read`."""
        chunk = b""
        with contextlib.suppress(queue.Empty):
            come = self._come.get(timeout=POLL_S)
            while come is not None:
                chunk += come
                come = self._come.get_nowait()
            # The end of it: met again by every later read, once what came before is taken.
            self._come.put(None)
            if not chunk and self._loss is not None:
                raise self._loss
        return chunk

    def write(self, data: bytes) -> None:
        """See `Link.write`; what a board does not take within half a second is dropped."""
        import serial

        try:
            self._port.write(data)
        except serial.SerialTimeoutException:
            return
        except self._gone as error:
            raise self._lost(error) from error

    def close(self) -> None:
        """See `Link.close`."""
        self._closing = True
        self._reader.join(timeout=2 * POLL_S)
        with contextlib.suppress(*self._gone):  # it may be gone already
            self._port.close()

    def _read_on(self) -> None:
        while not self._closing:
            try:
                first: bytes = self._port.read(1)
                if first:
                    self._come.put(first)
                    self._come.put(self._waiting())
            except Exception as error:  # pyserial raises several kinds when a port goes away
                self._loss = self._lost(error)
                break
        self._come.put(None)

    def _waiting(self) -> bytes:
        if self._counts:
            return bytes(self._port.read(self._port.in_waiting))
        self._port.timeout = 0
        try:
            return bytes(self._port.read(65536))
        finally:
            self._port.timeout = POLL_S

    def _lost(self, error: Exception) -> DeviceError:
        return DeviceError(f"the link was lost: {_plain(error)}", f"port {self.url}")


def open_link(url: str, baud_rate: int = BAUD_RATE) -> SerialLink:
    """Open a port by pyserial URL."""
    return SerialLink(url, baud_rate)


def _refuse_without_port_number(url: str) -> None:
    """A network port is a host and a number; pyserial says so in no words."""
    if not url.lower().startswith(("socket://", "rfc2217://")):
        return
    try:
        whole = urlsplit(url)
        known = bool(whole.hostname) and whole.port is not None
    except ValueError:
        known = False
    if not known:
        raise DeviceError(
            "cannot be opened: it has no host and port number",
            f"port {url}",
            hint=f"{url.partition('://')[0]}://HOST:PORT, such as socket://localhost:7000",
        )


def _plain(error: Exception) -> str:
    reason = getattr(error, "strerror", None) or str(error)
    return str(reason).split("\n")[0]
