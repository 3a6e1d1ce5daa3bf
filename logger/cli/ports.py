"""``horizon-logger ports``: which serial ports there are, and which of them a board is on."""

from __future__ import annotations

import click

from logger.cli.options import give, json_option, say
from logger.cli.parameters import Number
from logger.errors import DeviceError


@click.command()
@click.option("--port", "urls", multiple=True, help="Listen to this port instead of all.")
@click.option("--baud", type=click.IntRange(300, 4_000_000), help="Listen at this speed alone.")
@click.option("--ask", is_flag=True, help="Also ask each port for its identity: writes to it.")
@click.option(
    "--seconds",
    default=2.0,
    show_default=True,
    help="How long to listen at one speed: 115200, 38400, 4800 bit/s until a board is heard.",
    type=Number(0.1, 60),
)
@json_option
def command(
    urls: tuple[str, ...], baud: int | None, ask: bool, seconds: float, json_file: str | None
) -> None:
    """List the serial ports, and what is heard on each.

    It listens only; with --ask it writes one short question to every port.
    """
    from logger.live.find_board import listen_to_all, serial_ports

    known = serial_ports()
    found = listen_to_all(list(urls) or sorted(known), seconds, ask, baud)
    told = [vars(one) | {"description": known.get(one.port, "")} for one in found]
    lines = [f"{one.port}: {one.heard}" for one in found]
    nothing = "no serial port on this machine; is the board plugged in?"
    give(json_file, {"ports": told}, *(lines or [nothing]))
    boards = [one for one in found if one.answers]
    speed = f" --baud {boards[0].baud}" if boards and boards[0].baud not in (None, 115200) else ""
    step = f"sweep JOB POINT --port {boards[0].port}{speed}" if boards else "ports --ask"
    say(f"next: horizon-logger {step}")
    # A port that was asked for by name and cannot be opened is a fault; one that is met is not.
    if urls and not all(one.opened for one in found):
        click.get_current_context().exit(DeviceError.exit_code)
