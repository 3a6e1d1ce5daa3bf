#!/usr/bin/env python
"""Cut a recording at every byte and change every byte in turn; nothing may pass in silence.

    python tools/damage_recordings.py
    python tools/damage_recordings.py --flips 100000 --replays 500

A cut must keep every whole record and say that it is cut. A changed byte must be refused by the
seal or named among the problems; where it is read all the same (the seal taken off, or told to go
on) every heading must be one that was sent. Of both, --replays are taken through the whole
program by its command line: no traceback, and never exit code 0 with other figures.
"""

from __future__ import annotations

import argparse
import json
import random
import subprocess
import sys
import tempfile
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from firmware_protocol import Decoder
from logger.errors import RecordingError
from logger.recording import RecordingWriter
from logger.recording.load import decode_recording
from logger.recording.reader import NOTHING, parse_recording
from logger.simulation import simulate_sweep
from logger.simulation.motion import CALM
from logger.simulation.scenes import scene_named


def made(folder: Path, seconds: float, name: str) -> bytes:
    """A recording of the first seconds of a made-up sweep, sealed."""
    sweep = simulate_sweep(scene_named("street", 1), CALM, seed=1, streams="A", rate_hz=20)
    header = {**sweep.header, "point": "north eave"}
    decoder = Decoder()
    with RecordingWriter(folder / name, header) as writer:
        for t, chunk in sweep.chunks:
            if t < seconds:
                writer.add(t, decoder.feed(chunk))
        writer.note(seconds, label="lime tree", kind="deciduous")
    return (folder / name).read_bytes()


def sent_headings(whole: bytes) -> list[float]:
    return list(decode_recording(parse_recording(whole, Path("whole"))).samples.heading_deg)


def cuts(whole: bytes) -> Counter[str]:
    """Every place to cut at, from the empty file on."""
    seen: Counter[str] = Counter()
    headings = sent_headings(whole)
    for cut in range(len(whole)):
        part = whole[:cut]
        got = parse_recording(part, Path("cut"))
        if b"\n" not in part:
            if got.problems != (NOTHING,) or not got.empty:
                raise SystemExit(f"cut at {cut}: in silence: {got.problems}")
            seen["not even a first line: said to hold nothing"] += 1
            continue
        kept = list(decode_recording(got).samples.heading_deg)
        lines = part.count(b"\n") - 2
        records = len(got.sentences) + len(got.notes) + len(got.unsound)
        said = any("not sealed" in problem for problem in got.problems)
        torn = any("torn" in problem for problem in got.problems)
        if kept != headings[: len(kept)] or records != max(lines, 0):
            raise SystemExit(f"cut at {cut}: what is left differs from what was recorded")
        if not said or torn != (not part.endswith(b"\n")):
            raise SystemExit(f"cut at {cut}: in silence: {got.problems}")
        seen["all whole records kept, said to be cut"] += 1
    return seen


def flips(whole: bytes, count: int, rng: random.Random) -> Counter[str]:
    """Change one byte at a time, of the sealed recording and of one without its seal."""
    seen: Counter[str] = Counter()
    unsealed = whole[: whole.rindex(b"\ne ") + 1]
    headings = set(sent_headings(whole))
    for number in range(count):
        spot = number % len(whole)
        changed = bytearray(whole)
        changed[spot] ^= rng.randrange(1, 256)
        try:
            got = parse_recording(bytes(changed), Path("changed"))
        except RecordingError as error:
            seen["refused: " + ("seal" if "seal" in str(error) else "first line")] += 1
            if "seal" not in str(error):
                continue
            got = parse_recording(bytes(changed), Path("changed"), accept_broken_seal=True)
        else:
            if not got.problems or got.sealed:
                raise SystemExit(f"byte {spot}: changed in silence")
            seen["named: " + got.problems[-1].split(":")[0].split(" (")[0]] += 1
        if not set(decode_recording(got).samples.heading_deg) <= headings:
            raise SystemExit(f"byte {spot}: a heading that was never sent")
        if spot < len(unsealed):
            changed = changed[: len(unsealed)]
            try:
                got = parse_recording(bytes(changed), Path("changed"))
            except RecordingError:
                continue
            if not set(decode_recording(got).samples.heading_deg) <= headings:
                raise SystemExit(f"byte {spot}, no seal: a heading that was never sent")
            seen["without a seal: said, and no heading that was never sent"] += 1
    return seen


def replays(whole: bytes, count: int, rng: random.Random, folder: Path) -> Counter[str]:
    """The command line on damaged files."""
    (folder / "whole.sweep").write_bytes(whole)

    def replay(path: Path) -> tuple[int, str, str]:
        program = "from logger.cli import main; main()"
        command = [sys.executable, "-c", program, "replay", str(path), "--json", "-"]
        done = subprocess.run(command, capture_output=True, text=True, check=False)
        return done.returncode, done.stdout, done.stderr

    code, answer, said = replay(folder / "whole.sweep")
    if code not in (0, 4):
        raise SystemExit(said)

    def figures(text: str) -> object:
        result = json.loads(text)
        return [result[key] for key in ("horizon", "planes", "declination", "site")]

    def one(number: int) -> str:
        changed = bytearray(whole)
        spot = rng.randrange(len(whole))
        if number % 2:
            changed = changed[:spot]
        else:
            changed[spot] ^= rng.randrange(1, 256)
        path = folder / f"{number}.sweep"
        path.write_bytes(changed)
        code, out, said = replay(path)
        if "Traceback" in said or code == 1:
            raise SystemExit(f"{path}: {said}")
        if code == 3:
            return "exit 3"
        if "not sealed" not in said and "seal" not in said:
            raise SystemExit(f"{path}: taken in silence")
        same = figures(out) == figures(answer)
        return f"exit {code}, {'same' if same else 'other'} figures, damage named"

    with ThreadPoolExecutor(2) as pool:
        return Counter(pool.map(one, range(count)))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--flips", type=int, default=10_000)
    parser.add_argument("--replays", type=int, default=40)
    parser.add_argument("--seed", type=int, default=1)
    wanted = parser.parse_args()
    rng = random.Random(wanted.seed)
    with tempfile.TemporaryDirectory() as tmp:
        folder = Path(tmp)
        short = made(folder, 12.0, "short.sweep")
        print(f"cut at each of {len(short)} bytes:")
        report(cuts(short))
        print(f"{wanted.flips} changed bytes, at every position in turn:")
        report(flips(short, wanted.flips, rng))
        longer = made(folder, 60.0, "longer.sweep")
        print(f"{wanted.replays} cut or changed recordings through the command line:")
        report(replays(longer, wanted.replays, rng, folder))


def report(seen: Counter[str]) -> None:
    for what, count in seen.most_common():
        print(f"  {count:>7} {what}")


if __name__ == "__main__":
    main()
