"""`simulate` tells where it listens, serves, writes the truth and ends cleanly."""

import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
import serial
from click.testing import CliRunner

from firmware_protocol import Decoder, Identity, Key, Sound
from logger.cli.simulate import command
from logger.simulation import scene_named

PROGRAM = [sys.executable, "-c", "from logger.cli.simulate import command; command()"]


@contextmanager
def simulating(*options: str) -> Iterator[tuple[subprocess.Popen[str], str]]:
    process = subprocess.Popen(
        [*PROGRAM, *options], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    try:
        assert process.stdout is not None
        yield process, process.stdout.readline().strip()
    finally:
        process.kill()
        process.communicate()


def heard(port: serial.SerialBase) -> list[object]:
    decoder, said = Decoder(), []
    while not any(isinstance(s, Key) and s.key == 1 for s in said):
        chunk = port.read(1)  # more would wait for what does not come
        assert chunk, "the board fell silent"
        said += [p.sentence for p in decoder.feed(chunk) if isinstance(p, Sound)]
    assert not decoder.refused
    return said


@pytest.mark.parametrize(
    "how",
    [
        ["--tcp", "localhost:0"],
        pytest.param(["--pty"], marks=pytest.mark.skipif(os.name != "posix", reason="POSIX only")),
    ],
)
def test_the_first_line_is_what_a_host_opens_and_the_task_ends_by_itself(how: list[str]) -> None:
    task = ["--do", "plane", "--once", "--speed", "0", "--seed", "3"]
    options = [*task, "--streams", "am", "--rate", "20", *how]
    with simulating(*options) as (process, address):
        with serial.serial_for_url(address, timeout=10) as port:
            said = heard(port)
        assert isinstance(said[0], Identity)
        assert said[0].serial_number == "V003"
        assert (said[0].streams, said[0].rate_hz) == ("AM", 20)
        assert process.wait(20) == 0


@pytest.mark.skipif(os.name != "posix", reason="Ctrl-C is sent as a POSIX signal")
def test_ctrl_c_ends_it_cleanly() -> None:
    with simulating("--tcp", "127.0.0.1:0") as (process, address):
        assert address.startswith("socket://127.0.0.1:")
        process.send_signal(signal.SIGINT)
        _, errors = process.communicate(timeout=20)
        assert process.returncode == 0
        assert "Traceback" not in errors
        assert address in errors


def test_the_truth_is_written_before_anybody_connects(tmp_path: Path) -> None:
    path = tmp_path / "truth.csv"
    with simulating("--scene", "street", "--seed", "2", "--truth", str(path)) as (_, address):
        assert address
        assert path.read_text() == scene_named("street", 2).as_csv()


def test_every_scene_is_named_in_the_help() -> None:
    from logger.simulation import SCENES

    text = " ".join(CliRunner().invoke(command, ["--help"]).output.split())
    for name in SCENES:
        assert name.split("-")[-1] in text
