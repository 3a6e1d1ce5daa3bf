#!/usr/bin/env python
"""Hand the commands files that nobody should have made; measure memory and time of each.

    python tools/hostile_files.py

Every one must end in an exit code of the program's own (0, 2, 3 or 4) with a sentence that says why
and no traceback, under 500 MB, and within a minute. The files take up to 130 MB of the temporary
folder, one at a time.
What a process is said to take is never less than what this one holds, for it starts as a copy.
"""

from __future__ import annotations

import json
import math
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path

from firmware_protocol import Attitude, Key, RawField, RawRate, encode, framed

MOST_MB, LONGEST_S = 500, 60
# How the line begins that says why, by exit code; done is done
SENTENCES = {0: "", 2: "error: ", 3: "error: ", 4: "not fit for use - "}
PROGRAM = "from logger.cli import main; main()"
PLACE = ("--latitude", "46.05", "--longitude", "14.51")
FIRST = b"horizon-logger recording 1\n"
HEADER = b'h {"started":"2026-05-14T08:12:31.250Z","latitude":46.05,"longitude":14.51}\n'
MB = 2**20


def attitude(n: int, heading_cdeg: int | None = None) -> bytes:
    heading = n * 7 % 36000 if heading_cdeg is None else heading_cdeg
    return encode(Attitude(n % 65536, 20 * n % 2**32, heading, 0, 1180, 1))[:-2]


def swept(records: int, line: Callable[[int], bytes]) -> Iterator[bytes]:
    yield FIRST + HEADER
    for start in range(0, records, 10_000):
        count = range(start, min(start + 10_000, records))
        yield b"".join(b"s %.3f %s\n" % (0.02 * n, line(n)) for n in count)


def raw(n: int) -> bytes:
    """Field and force, and rate, of a board that turns level about the vertical."""
    instant, heading = n // 2, math.radians(n // 2 * 0.07)
    if n % 2:
        return encode(RawRate(instant % 65536, 20 * instant, 0, 0, 350, 231))[:-2]
    north, east = round(2200 * math.cos(heading)), round(-2200 * math.sin(heading))
    jitter = instant * 7919 % 13 - 6
    field = (north + jitter, east - jitter, 4300)
    return encode(RawField(instant % 65536, 20 * instant, *field, jitter, -jitter, -10000))[:-2]


def pressed(n: int) -> bytes:
    return attitude(n) if n % 100 else encode(Key(n % 65536, 20 * n, 2, down=True))[:-2]


def noted(records: int, every: int) -> Iterator[bytes]:
    yield FIRST + HEADER
    for n in range(records):
        note = b'n %.3f {"label":"oak %d"}\n' % (0.02 * n, n)
        yield b"s %.3f %s\n" % (0.02 * n, attitude(n)) if n % every else note


def hostile() -> dict[str, tuple[str, Iterator[bytes]]]:
    """Name -> the command and the file's content."""
    text = json.dumps({"point": "$\\frac{<script>alert(1)</script>=cmd|' /C calc'!A0\x1b[2J\u202e"})
    deep = b'{"a":' * 12_000 + b"1" + b"}" * 12_000
    log = framed(b"HCHDM,90.0,M") + framed(b"YXXDR,A,1,D,PITCH")
    still = attitude(5)
    recording = {
        "100 MB in one line": [FIRST, HEADER, *([b"s 0.1 $"] + [b"A" * MB] * 100)],
        "100 MB of line ends": [FIRST, HEADER, *[b"\n" * MB] * 100],
        "130 MB": [FIRST, HEADER, *[b"\0" * MB] * 130],
        "deep JSON in the header": [FIRST, b"h " + deep + b"\n"],
        "deep JSON in 500 notes": [FIRST, HEADER, *[b"n 1.0 " + deep[:60_000] + b"\n"] * 500],
        "NaN and infinities": [FIRST, b'h {"latitude":NaN,"longitude":Infinity}\n'],
        "absurd numbers": [FIRST, b'h {"latitude":1e308,"longitude":-1e308}\n', b"s 1.0 x\n"],
        "digits without end": [FIRST, b'h {"latitude":' + b"9" * 60_000 + b"}\n"],
        "another encoding": [(FIRST + HEADER).decode().encode("utf-16")],
        "nothing but its first line": [FIRST],
        "markup, formulas, control characters": [
            FIRST, b'h {"latitude":46.05,"longitude":14.51,' + text.encode()[1:] + b"\n",
            *(b"s %.3f %s\n" % (0.02 * n, attitude(n)) for n in range(3000)),
            b"n 1.0 " + json.dumps({"label": "=1+1;$x$<b>", "kind": "../../x"}).encode() + b"\n",
        ],
    }  # fmt: skip
    files = {name: ("replay", iter(parts)) for name, parts in recording.items()}
    files |= {
        "a million records": ("replay", swept(1_000_000, attitude)),
        "a million records of raw field and rate": ("replay", swept(1_000_000, raw)),
        "a million records of standard headings": (
            "replay", swept(1_000_000, lambda n: framed(b"HCHDM,%.1f,M" % (n * 0.07 % 360))[:-2])
        ),
        "a million records, the board started anew at each": (
            "replay",
            swept(1_000_000, lambda n: encode(Attitude(n % 65536, 9000 * (n % 2), n * 7 % 36000,
                                                       0, 1180, 1))[:-2]),
        ),
        "a million records, every hundredth a key press": ("replay", swept(1_000_000, pressed)),
        "a million records, every hundredth a note": ("replay", noted(1_000_000, 100)),
        "nothing but notes": ("replay", noted(1_000_000, 1)),
        "two million records": ("replay", swept(2_000_000, lambda n: b"$")),
        "an hour held still at 50 Hz": ("replay", swept(180_000, lambda n: attitude(n, 9000))),
        "an hour without a clock": ("replay", swept(180_000, lambda n: still)),
        "log of 100 MB in one line": ("log", iter([b"$" + b"A" * MB] + [b"A" * MB] * 99)),
        "log of 100 MB of dollars": ("log", iter([b"$" * MB] * 100)),
        "log of 100 MB of NUL": ("log", iter([b"\0" * MB] * 100)),
        "log of a million headings": ("log", iter([log * 10_000] * 100)),
        "log of random bytes": ("log", (os.urandom(MB) for _ in range(20))),
        "horizon of 30 MB in one line": (
            "assess", iter([b"azimuth_deg,elevation_deg\n", *[b"1," * (MB // 2)] * 30])
        ),
        "horizon of a million nodes": (
            "assess",
            (b"%.4f,1\n" % (n * 0.00036) if n >= 0 else b"azimuth_deg,elevation_deg\n"
             for n in range(-1, 1_000_000)),
        ),
        "horizon of NaN": ("assess", iter([b"azimuth_deg,elevation_deg\n0,nan\n180,inf\n"])),
        "weather of 100 MB": ("weather", iter([b"LOCATION,a\n", *[b"1,2,3\n" * 1_700] * 10_000])),
        "job of deep brackets": ("job", iter([b"a = " + b"[" * 100_000])),
        "job of endless digits": ("job", iter([b"[site]\nlatitude_deg = 1" + b"0" * 4000])),
        "job of 100 MB": ("job", iter([b"#" + b"a" * MB] + [b"a" * MB] * 99)),
    }  # fmt: skip
    return files


def arguments(kind: str, path: Path, folder: Path) -> list[str]:
    if kind == "replay":
        return ["replay", str(path), "--json", "-"]
    if kind == "log":
        return ["replay", str(path), *PLACE, "--rate", "10", "--json", "-"]
    plane = ["--tilt", "30", "--azimuth", "180"]
    if kind == "assess":
        return ["assess", str(path), *PLACE, *plane, "--json", "-"]
    if kind == "weather":
        horizon = folder / "horizon.csv"
        horizon.write_text("azimuth_deg,elevation_deg\n0,1\n")
        return ["assess", str(horizon), *PLACE, *plane, "--weather", str(path), "--json", "-"]
    (folder / "job").mkdir(exist_ok=True)
    path.rename(folder / "job" / "job.toml")
    return ["compare", str(folder / "job"), "--json", "-"]


def main() -> int:
    wrong, tried = [], 0
    files = hostile()
    only = sys.argv[1:]
    for name, (kind, parts) in files.items():
        if only and not any(word in name for word in only):
            continue
        tried += 1
        with tempfile.TemporaryDirectory() as tmp:
            folder = Path(tmp)
            path = folder / "file"
            with open(path, "wb") as file:
                file.writelines(parts)
            command = [sys.executable, "-c", PROGRAM, *arguments(kind, path, folder)]
            began = time.monotonic()
            process = subprocess.Popen(
                command, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE
            )
            said = process.stderr.read() if process.stderr else b""
            _, status, usage = os.wait4(process.pid, 0)
            seconds, peak_mb = time.monotonic() - began, usage.ru_maxrss / 1024
            cpu_s = usage.ru_utime + usage.ru_stime
            code = os.waitstatus_to_exitcode(status)
        lines = said.decode("utf-8", "replace").splitlines()
        begins = SENTENCES.get(code, "")
        sentence = next((x for x in lines if begins and x.startswith(begins)), "")
        good = code in SENTENCES and bool(sentence or not begins) and b"Traceback" not in said
        good = good and peak_mb < MOST_MB and cpu_s < LONGEST_S
        print(
            f"{'' if good else 'WRONG '}{name}: exit {code}, {peak_mb:.0f} MB, {cpu_s:.0f} s of "
            f"processor, {seconds:.0f} s: {sentence[-160:]!r}",
            flush=True,
        )
        if not good:
            wrong.append(name)
    print(f"{len(wrong)} of {tried} went wrong{': ' if wrong else ''}{', '.join(wrong)}")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
