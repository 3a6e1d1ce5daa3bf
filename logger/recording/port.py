"""The port a board is on: a serial device, or one served over the network."""

from __future__ import annotations

import contextlib
import socket
from typing import Any
from urllib.parse import urlsplit

from logger.errors import DeviceError
from logger.recording.reader_thread import POLL_S, ReaderThread, plain

BAUD_RATE = 115200
_WRITE_S = 0.5
_CONNECT_S = 5.0
_MOST_AT_ONCE = 4096
_KINDS = ("socket", "rfc2217", "loop")
_HINT = (
    "a port is a device name such as /dev/ttyUSB0 or COM3, socket://HOST:PORT, rfc2217://HOST:PORT "
    "or loop://; serial ports are listed by: horizon-logger ports"
)


def open_link(url: str, baud_rate: int = BAUD_RATE) -> ReaderThread:
    """Open a port, and read it from now on."""
    kind, is_url, _ = url.partition("://")
    if is_url and kind.lower() not in _KINDS:
        raise _not_opened(url, f"{kind}:// is no kind of port that this program opens")
    if is_url and kind.lower() == "socket":
        return ReaderThread(_NetworkPort(url))
    return ReaderThread(_SerialPort(url, baud_rate))


class _NetworkPort:
    """Bytes over TCP, as they are."""

    def __init__(self, url: str) -> None:
        self.url = url
        address = _address(url)
        try:
            self._socket = socket.create_connection(address, timeout=_CONNECT_S)
        except (OSError, ValueError) as error:
            raise _not_opened(url, plain(error)) from error
        self._socket.settimeout(POLL_S)

    def read(self) -> bytes:
        try:
            came = self._socket.recv(_MOST_AT_ONCE)
        except TimeoutError:
            return b""
        if not came:
            raise ConnectionError("the other end closed it")
        return came

    def write(self, data: bytes) -> None:
        with contextlib.suppress(TimeoutError):
            self._socket.sendall(data)

    def close(self) -> None:
        self._socket.close()


class _SerialPort:
    """A serial device on this machine, or one that another machine serves by RFC 2217."""

    def __init__(self, url: str, baud_rate: int) -> None:
        import serial

        self.url = url
        self._slow = serial.SerialTimeoutException
        served = url.lower().startswith("rfc2217://")
        if served:
            _address(url)
        try:
            # Two programs reading one port would each get half of it: hence exclusive.
            self._port: Any = serial.serial_for_url(
                url,
                baudrate=baud_rate,
                timeout=POLL_S,
                write_timeout=None if served else _WRITE_S,  # RFC 2217 knows no such limit
                exclusive=True,
            )
        except (OSError, ValueError) as error:  # pyserial's own errors are OSErrors
            raise _not_opened(url, plain(error)) from error

    def read(self) -> bytes:
        came: bytes = self._port.read(1)
        if came:
            came += self._port.read(min(self._port.in_waiting, _MOST_AT_ONCE))
        return came

    def write(self, data: bytes) -> None:
        with contextlib.suppress(self._slow):
            self._port.write(data)

    def close(self) -> None:
        with contextlib.suppress(OSError):  # it may be gone already
            self._port.close()


def _address(url: str) -> tuple[str, int]:
    """Host and number of a network port."""
    try:
        whole = urlsplit(url)
        host, number = whole.hostname, whole.port
    except ValueError:
        host = number = None
    if not host or number is None:
        raise _not_opened(url, "it has no host and port number")
    return host, number


def _not_opened(url: str, why: str) -> DeviceError:
    return DeviceError(f"cannot be opened: {why}", f"port {url}", hint=_HINT)
