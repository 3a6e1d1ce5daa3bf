"""How quickly the codec reads: a sweep of 3 minutes at 50 Hz, three streams, 27,000 sentences.

Fed to the decoder at once and in small parts, and read from a recording into columns. The
reference, in the same run, splits every line at its commas and makes numbers of the fields that
are, without looking at a checksum, a form or a limit.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path

from firmware_protocol import Attitude, Decoder, RawField, RawRate, encode
from logger.recording.load import decode_recording
from logger.recording.reader import parse_recording

INSTANTS = 9_000


def sweep() -> bytes:
    return b"".join(
        encode(Attitude(i, 20 * i, (18742 + i) % 36000, -215, 1180, 1))
        + encode(RawField(i, 20 * i, -2990, 141, 3752, 2045, 367, -9782))
        + encode(RawRate(i, 20 * i, -12, 455, 1003, 231))
        for i in range(INSTANTS)
    )


def split_only(stream: bytes) -> int:
    lines = stream.split(b"\r\n")
    return len([[float(field) for field in line.split(b",")[1:-1]] for line in lines if line])


def decoded(stream: bytes, chunk: int) -> int:
    decoder = Decoder()
    count = sum(
        len(decoder.feed(stream[at : at + chunk])) for at in range(0, len(stream), chunk)
    ) + len(decoder.finish())
    assert decoder.accepted == count
    assert decoder.lost == 0
    return count


def recorded(stream: bytes) -> bytes:
    lines = stream.split(b"\r\n")[:-1]
    records = (b"s %.3f %s\n" % (n / 150, line) for n, line in enumerate(lines))
    return b"horizon-logger recording 1\nh {}\n" + b"".join(records)


def read(content: bytes) -> int:
    stream = decode_recording(parse_recording(content, Path("benchmark.sweep")))
    assert len(stream.samples) == INSTANTS
    return 3 * INSTANTS


def best_of(runs: int, work: Callable[[], int]) -> tuple[int, float]:
    best = float("inf")
    for _ in range(runs):
        start = time.perf_counter()
        count = work()
        best = min(best, time.perf_counter() - start)
    return count, best


def main() -> None:
    stream = sweep()
    count, reference_s = best_of(5, lambda: split_only(stream))
    print(
        f"split only             {count} lines in {reference_s:.3f} s, {count / reference_s:,.0f}/s"
    )
    recording = recorded(stream)
    ways: dict[str, Callable[[], int]] = {
        "decoded, in one piece": lambda: decoded(stream, len(stream)),
        "decoded, 64 at a time": lambda: decoded(stream, 64),
        "read from a recording": lambda: read(recording),
    }
    for what, work in ways.items():
        count, took_s = best_of(5, work)
        print(
            f"{what}  {count} sentences in {took_s:.3f} s, {count / took_s:,.0f}/s, "
            f"{took_s / reference_s:.1f} times the split"
        )


if __name__ == "__main__":
    main()
