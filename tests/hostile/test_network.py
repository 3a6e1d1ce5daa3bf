"""Nothing is fetched or listens while the program runs, but what a person has asked for."""

import re
import subprocess
import sys
from pathlib import Path

import pytest

import firmware_protocol
import logger

ROOMS = [Path(package.__file__).parent for package in (logger, firmware_protocol)]
OFFLINE = """
import socket, sys
def refuse(*arguments, **more):
    raise SystemExit(f"the network was asked for: {arguments}")
socket.socket.connect = socket.socket.connect_ex = socket.socket.listen = refuse
socket.getaddrinfo = socket.create_connection = refuse
from logger.cli import main
main()
"""


def test_only_the_virtual_board_and_the_page_listen():
    listens = re.compile(r"create_server|\.listen\(|\.bind\(|socketserver|http\.server")
    found = {
        path.name
        for room in ROOMS
        for path in room.rglob("*.py")
        if listens.search(path.read_text(encoding="utf-8"))
    }
    assert found == {"serve.py", "server.py"}


def test_nothing_fetches_but_weather_when_it_is_asked_for():
    fetches = re.compile(
        r"import (urllib\.request|requests|httpx|aiohttp|ftplib)|urlopen\(|requests\.get\("
    )
    found = [
        path.name
        for room in ROOMS
        for path in room.rglob("*.py")
        if fetches.search(path.read_text(encoding="utf-8"))
    ]
    assert found == ["weather_services.py"]


@pytest.mark.parametrize(
    "arguments",
    [
        ("declination", "--latitude", "46.05", "--longitude", "14.51", "--date", "2026-05-14"),
        ("assess", "horizon.csv", "--latitude", "46.05", "--longitude", "14.51", "--tilt", "30",
         "--azimuth", "180"),
        ("assess", "https://localhost/horizon.csv", "--latitude", "46.05", "--longitude", "14.51",
         "--tilt", "30", "--azimuth", "180"),
    ],
    ids=["declination", "assess", "an address is no file"],
)  # fmt: skip
def test_a_command_works_without_a_network(tmp_path, arguments):
    rows = "".join(f"{azimuth},5\n" for azimuth in range(0, 360, 10))
    (tmp_path / "horizon.csv").write_text(f"azimuth_deg,elevation_deg\n{rows}")
    done = subprocess.run(
        [sys.executable, "-c", OFFLINE, *arguments],
        cwd=tmp_path, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert "the network was asked for" not in done.stderr
    assert done.returncode == (3 if "https" in arguments[1] else 0), done.stderr


def test_the_virtual_board_listens_on_loopback_unless_told_otherwise():
    from logger.simulation.serve import TcpLink

    link = TcpLink()
    try:
        assert link.host == "127.0.0.1"
        assert link.address.startswith("socket://127.0.0.1:")
    finally:
        link.close()
