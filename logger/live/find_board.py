"""Which board is on which port: listening, at the speeds that boards of this kind have."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

from firmware_protocol import Decoder, Identity, Query, Sound, encode
from logger.errors import DeviceError
from logger.job import Job, set_table
from logger.live.lent_port import LentPort
from logger.recording import FloodError, StreamBuilder, SystemClock, Taken, heard, open_link
from logger.recording.port import BAUD_RATE

BAUD_RATES = (BAUD_RATE, 38400, 4800)
"""Of our boards, and of NMEA 0183 (IEC 61162-2 and -1)."""
LISTEN_S = 2.0
"""At one speed; a compass of IEC 61162-1 speaks once a second at least. [s]"""
IDENTITY_S = 1.5
"""Within which a board that tells what it is has answered. [s]"""


@dataclass(frozen=True)
class OnPort:
    """What was heard on a port, as `ports --json` tells it."""

    port: str
    baud: int | None  # None where a port has no speed
    opened: bool
    answers: bool  # Whether a board is there
    heard: str
    board: Identity | None


def serial_ports() -> dict[str, str]:
    """The serial ports of this machine and what the system calls them."""
    from serial.tools import list_ports

    return {port.device: port.description or "" for port in list_ports.comports()}


def listen_to_all(
    urls: Sequence[str], seconds: float = LISTEN_S, ask: bool = False, baud: int | None = None
) -> list[OnPort]:
    """Listen to several ports at once, each at one speed after the other until it is understood."""
    with ThreadPoolExecutor(max_workers=max(len(urls), 1)) as pool:
        return list(pool.map(lambda url: listen(url, seconds, ask, baud), urls))


def listen(
    url: str, seconds: float = LISTEN_S, ask: bool = False, baud: int | None = None
) -> OnPort:
    """Listen to a port; nothing is written unless it is to be asked."""
    network = "://" in url
    found = None
    for rate in (BAUD_RATE,) if network else (baud,) if baud else BAUD_RATES:
        latest = _listen(url, None if network else rate, seconds, ask)
        if latest.answers or not latest.opened:
            return latest
        # Noise at our own speed says more than silence at another.
        found = found or latest
    assert found is not None
    return found


def _listen(url: str, baud: int | None, seconds: float, ask: bool) -> OnPort:
    clock, decoder, builder, count = SystemClock(), Decoder(), StreamBuilder(), 0
    try:
        link = open_link(url, baud or BAUD_RATE)
        try:
            link.start(lambda chunk: Taken(clock.seconds(), len(chunk), decoder.feed(chunk)))
            if ask:
                link.write(encode(Query()))
            end = clock.seconds() + seconds
            while clock.seconds() < end:
                for one in link.read():
                    count += one.size
                    for piece in one.pieces:
                        builder.take(one.t_s, piece)
        finally:
            link.close()
    except DeviceError as error:
        return OnPort(url, baud, isinstance(error, FloodError), False, error.what, None)
    board = builder.identity
    if board is not None:
        words = (
            f"{board.board}, serial number {board.serial_number}, firmware {board.firmware}, "
            f"{board.rate_hz} Hz, streams {board.streams}"
        )
    elif builder.accepted:
        words = f"{builder.accepted} sentences, no identity yet"
    else:
        came = heard(count, builder)
        words = came.what if came and count else "silence"
    if builder.accepted and baud not in (None, BAUD_RATE):
        words += f", at {baud} bit/s"
    return OnPort(url, baud, True, builder.accepted > 0, words, board)


def lend(job: Job, url: str | None, baud: int | None, say: Callable[[str], None]) -> LentPort:
    """Open the port that is given, or that the job remembers, or the only one with a board.

    The job remembers it from then on.
    """
    if url is None and job.port.url:
        url, baud = job.port.url, baud or job.port.baud
        say(f"port {url}, as before")
    elif url is None:
        url, baud = _only_board(baud, say)
    where = url
    port = LentPort(lambda: open_link(where, baud or BAUD_RATE), where)
    if (url, baud) != (job.port.url, job.port.baud):
        set_table(job.folder, "port", {"url": url, "baud": baud})
    return port


def _only_board(baud: int | None, say: Callable[[str], None]) -> tuple[str, int | None]:
    names = list(serial_ports())
    if names:
        say(f"no port given: listening to {', '.join(names)}")
    found = [one for one in listen_to_all(names, LISTEN_S, baud=baud) if one.answers]
    if len(found) != 1:
        what = f"{len(found)} boards are heard" if found else "no board is heard on any serial port"
        heard_on = ", ".join(one.port for one in found) or "horizon-logger ports lists them"
        raise DeviceError(what, hint=f"give --port URL: {heard_on}")
    (board,) = found
    say(f"using {board.port}: {board.heard}")
    return board.port, board.baud if board.baud != BAUD_RATE else None


def identity_on(port: LentPort) -> Identity | None:
    """What the board says of itself; the bytes that came meanwhile are given back."""
    clock, decoder, chunks = SystemClock(), Decoder(), list[bytes]()

    def keep(chunk: bytes) -> Taken:
        chunks.append(chunk)
        return Taken(0.0, len(chunk), decoder.feed(chunk))

    found: Identity | None = None
    end = clock.seconds() + IDENTITY_S
    port.start(keep)
    port.write(encode(Query()))
    while found is None and clock.seconds() < end:
        said = [piece.sentence for one in port.read() for piece in one.pieces
                if isinstance(piece, Sound)]  # fmt: skip
        found = next((one for one in said if isinstance(one, Identity)), None)
    port.stop()
    port.give_back(b"".join(chunks))
    return found
