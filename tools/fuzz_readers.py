#!/usr/bin/env python
"""Coverage-guided fuzzing of everything that reads files or bytes from elsewhere.

    python tools/fuzz_readers.py                       all readers, in turn
    python tools/fuzz_readers.py --share 0.01          a hundredth of the executions
    python tools/fuzz_readers.py --only decoder        one of them

Needs `pip install atheris`. Each reader runs in a process of its own under limits of 500 MB and
10 s an input; whatever is not one of our own errors, or breaks a stated property, ends it. Inputs
that were worth keeping stay in --corpus and are where the next run goes on from.
"""

from __future__ import annotations

import argparse
import contextlib
import json
import re
import subprocess
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

EXECUTIONS = {
    "decoder": 3_000_000,
    "recording": 2_500_000,
    "plain_log": 1_500_000,
    "horizon_csv": 1_500_000,
    "job": 1_000_000,
    "calibration": 500_000,
    "weather": 100_000,
}
LONGEST = {"weather": 4096, "horizon_csv": 600, "job": 1000}
"""Bytes an input; 400 where nothing is said: short inputs are quick, and hold every kind."""
MOST_MB = 500
ROUND = 250_000
"""Executions of one process: the fuzzer itself keeps a few hundred bytes of each."""
LONGEST_S = 10


def seeds() -> dict[str, list[bytes]]:
    """A few sound inputs of each kind to start from."""
    sentences = (
        b"$PHLGI,1,demo board,0007,0.3.1,50,AM,AA38*29",
        b"$PHLGA,412,8240,187.42,-2.15,11.80,1,74F9*0F",
        b"$PHLGM,412,8240,-2990,141,3752,2045,367,-9782,3BF6*4A",
        b"$PHLGG,412,8240,-12,455,1003,231,D699*1B",
        b"$PHLGK,431,8620,2,D,0183*32",
        b"$PHLGE,9001,RANGE,magnetometer^2C x axis,89AD*41",
        b"$HCHDG,101.1,,,7.1,W*3C",
        b"$YXXDR,A,-2.4,D,PITCH,A,1.1,D,ROLL*3F",
    )
    log = b"\r\n".join(sentences) + b"\r\n"
    recording = b'horizon-logger recording 1\nh {"started":"2026-05-14T08:12:31.250Z"}\n'
    for i, sentence in enumerate(sentences):
        recording += b"s %.3f %s\n" % (0.02 * i, sentence)
    recording += b'n 1.000 {"label":"lime tree","kind":"deciduous"}\nx 1.010 3f8a00\n'
    csv = (
        b"# heading_error_deg: 1.5\nazimuth_deg,elevation_deg,standard_error_deg,measured,"
        b"obstruction,distance_m\n0,3.5,0.2,1,oak,12\n90,10,0.2,1,oak,\n180,0,,0,,\n"
    )
    job = (
        b'[site]\nname = "a"\nlatitude_deg = 46.05\nlongitude_deg = 14.5\naltitude_m = 310.0\n'
        b'timezone = "Europe/Ljubljana"\n[[planes]]\nname = "p"\ntilt_deg = 30\nazimuth_deg = 180\n'
        b'[[points]]\nname = "north eave"\nsight_height_m = 1.6\n[[obstructions]]\nname = "oak"\n'
        b'kind = "deciduous"\nfrom_azimuth_deg = 10\nto_azimuth_deg = 20\n[people]\nclient = "c"\n'
    )
    compass = {
        "offset_ut": [1, 2, 3], "matrix": [[1, 0, 0], [0, 1, 0], [0, 0, 1]], "field_ut": 47.0,
        "dip_deg": 63.0, "heading_error_deg": 0.5,
    }  # fmt: skip
    level = {"index_deg": 0.2, "collimation_deg": -0.1, "index_error_deg": 0.05}
    calibrations = [
        json.dumps({"kind": kind, "values": values}).encode()
        for kind, values in (
            ("compass", compass),
            ("level", level),
            ("deviation", {"a": 1, "b": 2, "c": 3, "d": 4, "e": 5}),
            ("bearing", {"heading_deg": 12.5, "standard_error_deg": 0.4, "source": "shadow"}),
            ("declination", {"value_deg": 4, "standard_error_deg": 0.4, "source": "model"}),
        )
    ]
    epw = b"LOCATION,Hill,-,LN,custom,000000,46.05,14.51,1.0,310.0\n" + b"DESIGN\n" * 7
    epw += b"2001,1,1,1,60,A," + b",".join([b"1"] * 29) + b"\n"
    tmy3 = b"000000,Hill,LN,1,46.05,14.51,310\nDate (MM/DD/YYYY),Time (HH:MM),GHI (W/m^2),"
    tmy3 += b"DNI (W/m^2),DHI (W/m^2)\n01/01/2001,01:00,1,2,3\n01/01/2001,24:00,1,2,3\n"
    return {
        "decoder": [*sentences, log],
        "recording": [recording, recording + b'e {"records":11,"sha256":"00"}\n'],
        "plain_log": [log],
        "horizon_csv": [csv, b"azimuth_deg,elevation_deg\n0,1\n"],
        "job": [job],
        "calibration": calibrations,
        "weather": [epw, tmy3],
    }


def targets(folder: Path) -> dict[str, Callable[[bytes], None]]:
    """The readers as functions of bytes; imported here so that atheris sees them first."""
    from firmware_protocol import Decoder, Sound, Unknown, decode_sentence, encode
    from logger.access import read_weather
    from logger.calibration import read_calibration
    from logger.errors import LoggerError
    from logger.files import json_text
    from logger.horizon_csv import horizon_csv, parse_horizon_csv
    from logger.job import read_job
    from logger.recording.load import decode_recording
    from logger.recording.nmea_log import parse_plain_log
    from logger.recording.reader import parse_recording

    def decoder(data: bytes) -> None:
        whole, parts = Decoder(), Decoder()
        pieces = [*whole.feed(data), *whole.finish()]
        cut = len(data) // 3
        split = [*parts.feed(data[:cut]), *parts.feed(data[cut:]), *parts.finish()]
        if split != pieces:
            raise RuntimeError("how the bytes were split changed what came out")
        for piece in pieces:
            if isinstance(piece, Sound) and piece.raw.startswith(b"$PHLG"):
                if isinstance(piece.sentence, Unknown):
                    continue
                with contextlib.suppress(ValueError):  # read up to 128 bytes, written up to 82
                    again = decode_sentence(encode(piece.sentence)[:-2])
                    if again != piece.sentence:
                        raise RuntimeError("a sentence written again reads differently")

    def recording(data: bytes) -> None:
        for content in (data, b"horizon-logger recording 1\n" + data):
            with contextlib.suppress(LoggerError):
                read = parse_recording(content, Path("fuzzed"), accept_broken_seal=True)
                json_text({"header": dict(read.header), "started": read.started})
                read.number("latitude"), read.text("point")
                decode_recording(read)

    def plain_log(data: bytes) -> None:
        for rate_hz in (None, 10.0):
            with contextlib.suppress(LoggerError):
                parse_plain_log(data, "fuzzed", rate_hz)

    def horizon(data: bytes) -> None:
        with contextlib.suppress(LoggerError):
            profile = parse_horizon_csv(data.decode("utf-8", "replace"))
            again = parse_horizon_csv(horizon_csv(profile))
            if len(again) != len(profile):
                raise RuntimeError("a horizon written again has other nodes")

    def job(data: bytes) -> None:
        (folder / "job.toml").write_bytes(data)
        with contextlib.suppress(LoggerError):
            read_job(folder)

    def calibration(data: bytes) -> None:
        path = folder / "calibration.json"
        path.write_bytes(data)
        with contextlib.suppress(LoggerError):
            read_calibration(path)

    def weather(data: bytes) -> None:
        path = folder / "weather.epw"
        path.write_bytes(data)
        with contextlib.suppress(LoggerError):
            read_weather(path)

    return {
        "decoder": decoder,
        "recording": recording,
        "plain_log": plain_log,
        "horizon_csv": horizon,
        "job": job,
        "calibration": calibration,
        "weather": weather,
    }


def fuzz_one(name: str, arguments: list[str]) -> None:
    import warnings

    import atheris

    warnings.simplefilter("ignore")
    # Not instrumented: the heavy ones, which would only slow everything down.
    import numpy  # noqa: F401
    import pandas  # noqa: F401
    import pvlib  # noqa: F401
    import scipy.spatial  # noqa: F401

    with tempfile.TemporaryDirectory(dir="/dev/shm" if Path("/dev/shm").is_dir() else None) as tmp:
        with atheris.instrument_imports(include=["logger", "firmware_protocol", "tomllib"]):
            target = targets(Path(tmp))[name]
        atheris.Setup([sys.argv[0], *arguments], target)
        atheris.Fuzz()


def figure(said: str, name: str) -> int:
    found = re.search(rf"{name}:\s*(\d+)", said)
    return int(found[1]) if found else 0


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--share", type=float, default=1.0)
    parser.add_argument("--only", choices=EXECUTIONS)
    parser.add_argument("--corpus", type=Path, default=Path(tempfile.gettempdir()) / "fuzz-corpus")
    parser.add_argument("--seed", type=int, default=1)
    wanted = parser.parse_args()
    total = 0
    failed: list[str] = []
    for name in [wanted.only] if wanted.only else EXECUTIONS:
        corpus = wanted.corpus / name
        corpus.mkdir(parents=True, exist_ok=True)
        for number, seed in enumerate(seeds()[name]):
            (corpus / f"seed-{number}").write_bytes(seed)
        runs = max(round(EXECUTIONS[name] * wanted.share), 1)
        executed = peak = 0
        for first in range(0, runs, ROUND):
            done = subprocess.run(
                [
                    sys.executable, __file__, f"--fuzz={name}", str(corpus),
                    f"-runs={min(ROUND, runs - first)}", f"-seed={wanted.seed + first}",
                    f"-rss_limit_mb={MOST_MB}", f"-timeout={LONGEST_S}", "-print_final_stats=1",
                    f"-max_len={LONGEST.get(name, 400)}", "-verbosity=0",
                    f"-artifact_prefix={wanted.corpus}/{name}-",
                ],
                capture_output=True, text=True, errors="replace", check=False,
            )  # fmt: skip
            said = done.stdout + done.stderr
            executed += figure(said, "number_of_executed_units")
            peak = max(peak, figure(said, "peak_rss_mb"))
            if done.returncode:
                failed.append(name)
                print(said[-3000:], flush=True)
                break
        total += executed
        print(
            f"{name:12} {executed:>9} executions, peak {peak} MB: "
            f"{'FAULT' if name in failed else 'no fault'}",
            flush=True,
        )
    print(f"{total} executions, {len(failed)} readers with faults")
    return 1 if failed else 0


if __name__ == "__main__":
    if len(sys.argv) > 1 and sys.argv[1].startswith("--fuzz="):
        fuzz_one(sys.argv[1].removeprefix("--fuzz="), sys.argv[2:])
    else:
        sys.exit(main())
