"""``horizon-logger ports``: which serial ports there are, and which of them a board is on."""

from __future__ import annotations

from typing import Any

import click

from logger.cli.options import json_option, tell, write_json
from logger.errors import DeviceError


@click.command()
@click.option("--port", "urls", multiple=True, help="Listen to this port instead of all.")
@click.option("--ask", is_flag=True, help="Also ask each port for its identity: writes to it.")
@click.option(
    "--seconds",
    default=1.5,
    show_default=True,
    help="How long to listen.",
    type=click.FloatRange(0.1, 60),
)
@json_option
def command(urls: tuple[str, ...], ask: bool, seconds: float, json_file: str | None) -> None:
    """List the serial ports, and what is heard on each.

    It listens only; with --ask it writes one short question to every port.
    """
    from concurrent.futures import ThreadPoolExecutor

    from serial.tools import list_ports

    known = {p.device: p.description or "" for p in list_ports.comports()}
    names = list(urls or sorted(known))
    with ThreadPoolExecutor(max_workers=max(len(names), 1)) as pool:
        heard = list(pool.map(lambda url: _listen(url, ask, seconds), names))
    found = [
        {"port": name, "description": known.get(name, ""), **what}
        for name, what in zip(names, heard, strict=True)
    ]
    if json_file:
        write_json(json_file, {"ports": found})
    if json_file == "-":
        _leave_unopened(urls, found)
        return
    if not found:
        tell("no serial port on this machine; is the board plugged in?")
    for port in found:
        tell(f"{port['port']}: {port['heard']}")
    _leave_unopened(urls, found)


def _leave_unopened(asked: tuple[str, ...], found: list[dict[str, Any]]) -> None:
    """A port that was asked for by name and cannot be opened is a fault; one that is met is not."""
    if asked and not all(port.get("opened", True) for port in found):
        click.get_current_context().exit(DeviceError.exit_code)


def _listen(url: str, ask: bool, seconds: float) -> dict[str, Any]:
    from firmware_protocol import Decoder, Query, encode
    from logger.recording import FloodError, StreamBuilder, SystemClock, Taken, heard, open_link

    clock, decoder, builder = SystemClock(), Decoder(), StreamBuilder()
    count = 0
    try:
        link = open_link(url)
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
        opened = isinstance(error, FloodError)
        return {"answers": False, "heard": error.what, "opened": opened}
    board = builder.identity
    if board is not None:
        return {
            "answers": True,
            "heard": f"{board.board}, serial number {board.serial_number}, firmware "
            f"{board.firmware}, {board.rate_hz} Hz, streams {board.streams}",
            "board": board,
        }
    if builder.accepted:
        return {"answers": True, "heard": f"{builder.accepted} sentences, no identity yet"}
    came = heard(count, builder)
    return {"answers": False, "heard": came.what if came and count else "silence"}
