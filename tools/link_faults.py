#!/usr/bin/env python
"""Send sentences over a link that drops, flips and doubles bytes; count what damage gets through.

    python tools/link_faults.py                     ten million of our own sentences
    python tools/link_faults.py --sentences 100000
    python tools/link_faults.py --nmea              a standard board's instead, with a bare XOR

A sentence counts as damaged and entered when the decoder takes it as sound and it is none of
those sent; damage taken for a sentence of another kind is passed over, and counted apart. For a
standard board, what plausibility checks then leave is counted in samples whose
heading or pitch is more than a degree from what was sent.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections import Counter

import numpy as np

from firmware_protocol import Decoder, MagneticHeading, PitchRoll, Sound, Unknown, encode
from logger.geometry import angle_between
from logger.recording import StreamBuilder
from logger.simulation import simulate_sweep
from logger.simulation.scenes import scene_named

SHARES = (0.01, 0.10)
KINDS = ("dropped", "flipped", "doubled", "all three")
BLOCK = 20_000


def damage(sent: bytes, kind: str, share: float, rng: np.random.Generator) -> bytes:
    """The bytes after the link; `share` of them is hit, each on its own."""
    text = np.frombuffer(sent, dtype=np.uint8).copy()
    hit = rng.random(text.size) < share
    what = rng.integers(0, 3, text.size) if kind == "all three" else KINDS.index(kind)
    flip = hit & (what == 1)
    text[flip] ^= (1 << rng.integers(0, 8, int(flip.sum()))).astype(np.uint8)
    times = np.ones(text.size, dtype=np.int64)
    times[hit & (what == 0)] = 0
    times[hit & (what == 2)] = 2
    return np.repeat(text, times).tobytes()


def own_sentences() -> list[bytes]:
    """Sentences of one made-up sweep, all streams, as a board sends them."""
    sweep = simulate_sweep(scene_named("street", 1), seed=1)
    text = b"".join(chunk for _, chunk in sweep.chunks)
    return [line + b"\n" for line in text.split(b"\n")[:-1]]


def with_crc(count: int, seed: int) -> int:
    sentences = own_sentences()
    known = {sentence.rstrip(b"\r\n") for sentence in sentences}
    entered_in_all, sent_in_all = 0, 0
    began = time.monotonic()
    for share in SHARES:
        for kind in KINDS:
            rng = np.random.default_rng([seed, round(share * 100), KINDS.index(kind)])
            wanted = count // (len(SHARES) * len(KINDS))
            decoder, sent, taken, entered, others = Decoder(), 0, 0, [], 0
            while sent < wanted:
                start = int(rng.integers(0, len(sentences)))
                block = (sentences[start:] + sentences[:start])[: min(BLOCK, wanted - sent)]
                sent += len(block)
                for piece in decoder.feed(damage(b"".join(block), kind, share, rng)):
                    if isinstance(piece, Sound):
                        taken += 1
                        if piece.raw not in known:
                            if isinstance(piece.sentence, Unknown):
                                others += 1
                            else:
                                entered.append(piece)
            entered_in_all += len(entered)
            sent_in_all += sent
            why = ", ".join(f"{n} {reason}" for reason, n in decoder.refused.most_common(4))
            print(
                f"{share:4.0%} {kind:10} {sent:>9} sent, {taken:>8} taken, "
                f"{len(entered)} damaged entered, {others} passed over; refused: {why}",
                flush=True,
            )
            for piece in entered[:5]:
                print(f"    {piece.raw!r} {piece.sentence}")
    print(f"{sent_in_all} sentences sent, {entered_in_all} damaged entered", end=" ")
    print(f"({time.monotonic() - began:.0f} s)")
    return entered_in_all


def of_a_standard_board(count: int, seed: int) -> None:
    """A 10 Hz compass board swept at 15 deg/s: XDR and HDG at every instant."""
    rate_hz, speed_deg_s = 10.0, 15.0
    total: Counter[str] = Counter()
    for share in SHARES:
        for kind in KINDS:
            rng = np.random.default_rng([seed, round(share * 100), KINDS.index(kind)])
            instants = count // (2 * len(SHARES) * len(KINDS))
            t = np.arange(instants) / rate_hz
            heading = np.round(np.mod(20 + speed_deg_s * t, 360), 1)
            pitch = np.round(6 + 5 * np.sin(t / 3) + rng.normal(0, 0.2, instants), 1)
            builder = StreamBuilder()
            known, entered = set(), 0
            for i in range(instants):
                pair = encode(PitchRoll(float(pitch[i]), 1.1))
                pair += encode(MagneticHeading(float(heading[i])))
                known.update(pair.split(b"\r\n"))
                for piece in builder.feed(float(t[i]), damage(pair, kind, share, rng)):
                    if isinstance(piece, Sound) and piece.raw not in known:
                        entered += 1
                known.clear()
            samples = builder.stream().samples
            at = np.round(samples.t_s * rate_hz).astype(int)
            with np.errstate(invalid="ignore"):
                # A sentence that lost its end is complete only with the next instant's bytes.
                late = np.clip(at[:, None] - np.arange(2), 0, None)
                turned = angle_between(samples.heading_deg[:, None], heading[late])
                off = np.abs(turned).min(axis=1) > 1
                held = np.clip(at[:, None] - np.arange(21), 0, None)  # pitch may hold for 2 s
                off |= np.abs(samples.pitch_deg[:, None] - pitch[held]).min(axis=1) > 1
            row = Counter(sent=2 * instants, entered=entered, rows=len(samples), off=int(off.sum()))
            row["caught"] = builder.stream().refused.get("a jump there and back", 0)
            total += row
            print(
                f"{share:4.0%} {kind:10} {row['sent']:>8} sent, {row['entered']:>5} damaged passed "
                f"the XOR, {row['caught']:>4} values found implausible, "
                f"{row['off']:>4} of {row['rows']} samples off by over 1 degree",
                flush=True,
            )
    print(
        f"{total['sent']} sentences sent, {total['entered']} damaged passed the XOR, "
        f"{total['off']} of {total['rows']} samples off by over 1 degree "
        f"({total['off'] / max(total['rows'], 1):.4%})"
    )


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--sentences", type=int, default=10_000_000)
    parser.add_argument("--nmea", action="store_true")
    parser.add_argument("--seed", type=int, default=1)
    wanted = parser.parse_args()
    if wanted.nmea:
        of_a_standard_board(wanted.sentences, wanted.seed)
        return 0
    return 1 if with_crc(wanted.sentences, wanted.seed) else 0


if __name__ == "__main__":
    sys.exit(main())
