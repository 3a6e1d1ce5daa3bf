#!/usr/bin/env python3
"""Build the firmware and run its very ELF on an emulated chip with an emulated sensor.

As a command it serves an emulated board on a pseudo-terminal, held still and level, until Ctrl-C:

    tools/emulated_board.py [BUILD_FOLDER]
"""

from __future__ import annotations

import contextlib
import json
import shutil
import signal
import subprocess
import sys
import tempfile
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

FIRMWARE = Path(__file__).resolve().parent.parent / "firmware_protocol" / "firmware"

Event = tuple[float, str]
"""Milliseconds since the start, and what happens then (see emulate.c)."""


_TRIALS = {
    "firmware": ["avr-gcc", "-mmcu=atmega328p", "-include", "avr/io.h"],
    "host": ["cc", "-fsanitize=address,undefined"],
    "emulator": ["cc", "-include", "simavr/sim_avr.h", "-lsimavr", "-lelf"],
}
_LIBRARIES = {
    "firmware": "avr-libc",
    "host": "the compiler's sanitizers",
    "emulator": "libsimavr-dev and libelf-dev",
}


def missing_for(target: str) -> str | None:
    """What stands in the way of `make TARGET` (firmware, host or emulator), or None."""
    compiler, *options = _TRIALS[target]
    absent = [name for name in ("make", compiler) if shutil.which(name) is None]
    if absent:
        return f"no {' and no '.join(absent)} on this machine"
    with tempfile.TemporaryDirectory() as name:
        source = Path(name) / "trial.c"
        source.write_text("int main(void) { return 0; }\n")
        tried = subprocess.run(
            [compiler, "-o", Path(name) / "trial", source, *options],
            capture_output=True,
            check=False,
        )
    return f"{_LIBRARIES[target]} missing on this machine" if tried.returncode else None


def build(folder: Path, *targets: str) -> Path:
    """Make the targets into a folder; safe for several processes at once."""
    import fcntl  # not on Windows, where nothing gets as far as this

    folder.mkdir(parents=True, exist_ok=True)
    with (folder / "lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        made = subprocess.run(
            ["make", "-C", str(FIRMWARE), f"BUILD={folder.resolve()}", *targets],
            capture_output=True,
            text=True,
            check=False,
        )
    if made.returncode or "warning" in made.stderr:
        raise RuntimeError(f"the firmware does not build cleanly:\n{made.stdout}{made.stderr}")
    return folder


def motion_rows(
    t_s: Sequence[float],
    field_ut: Iterable[Sequence[float]],
    force_g: Iterable[Sequence[float]],
    rate_deg_s: Iterable[Sequence[float]],
    temperature_c: Iterable[float],
    start_ms: float = 0.0,
) -> str:
    """What the sensor is exposed to, as the emulator reads it; rows are one instant each."""
    rows = zip(t_s, field_ut, force_g, rate_deg_s, temperature_c, strict=True)
    return "".join(
        f"{start_ms + t * 1000:.3f} "
        + " ".join(f"{v * 100:.3f}" for v in field)
        + " "
        + " ".join(f"{v * 10000:.3f}" for v in force)
        + " "
        + " ".join(f"{v * 100:.3f}" for v in rate)
        + f" {temperature * 10:.2f}\n"
        for t, field, force, rate, temperature in rows
    )


@dataclass(frozen=True)
class Run:
    """What came of a run: the bytes the board sent, and the emulator's figures."""

    sent: bytes
    figures: dict[str, Any]


def _files(folder: Path, motion: str, events: Sequence[Event]) -> list[str]:
    options: list[str] = []
    if motion:
        (folder / "motion").write_text(motion)
        options += ["--motion", str(folder / "motion")]
    if events:
        text = "".join(f"{t_ms:.3f} {what}\n" for t_ms, what in sorted(events))
        (folder / "events").write_text(text)
        options += ["--events", str(folder / "events")]
    return options


def from_host(text: bytes) -> str:
    """The event of bytes arriving from the host."""
    return f"host {text.hex()}"


def run(
    built: Path,
    seconds: float,
    motion: str = "",
    events: Sequence[Event] = (),
    serial_number: str = "E001",
) -> Run:
    """As fast as the machine can, for so many seconds of the board's time."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        done = subprocess.run(
            [
                str(built / "emulate"),
                str(built / "horizon-logger.elf"),
                *_files(folder, motion, events),
                *("--seconds", str(seconds), "--serial-number", serial_number),
                *("--output", "-", "--figures", str(folder / "figures")),
            ],
            capture_output=True,
            check=False,
        )
        if done.returncode:
            raise RuntimeError(done.stderr.decode())
        return Run(done.stdout, json.loads((folder / "figures").read_text()))


@contextlib.contextmanager
def served(
    built: Path,
    motion: str = "",
    events: Sequence[Event] = (),
    serial_number: str = "E001",
    wait: bool = False,
) -> Iterator[tuple[str, subprocess.Popen[str]]]:
    """At the pace of the clock on a pseudo-terminal: its name and the emulator's process.

    With ``wait`` the board's power comes on when the host first writes.
    """
    with tempfile.TemporaryDirectory() as name:
        process = subprocess.Popen(
            [
                str(built / "emulate"),
                str(built / "horizon-logger.elf"),
                *_files(Path(name), motion, events),
                *("--serial-number", serial_number, "--pty", *(["--wait"] if wait else [])),
            ],
            stdout=subprocess.PIPE,
            text=True,
        )
        assert process.stdout is not None
        try:
            port = process.stdout.readline().strip()
            if not port:
                raise RuntimeError("the emulated board did not start")
            yield port, process
        finally:
            process.send_signal(signal.SIGTERM)
            process.wait()
            process.stdout.close()


def main() -> None:
    for target in ("firmware", "emulator"):
        if reason := missing_for(target):
            sys.exit(f"cannot build the {target}: {reason}")
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else FIRMWARE / "build"
    with served(build(folder, "firmware", "emulator")) as (port, process):
        print(port, flush=True)
        with contextlib.suppress(KeyboardInterrupt):
            process.wait()


if __name__ == "__main__":
    main()
