"""The C core on the host, under the sanitizers, against the Python codec and plain geometry."""

import math
import random
import subprocess
import sys
from pathlib import Path

import numpy as np

from firmware_protocol import (
    FAULT_CODES,
    REASONS,
    Attitude,
    Configure,
    Cue,
    Decoder,
    Fault,
    Identity,
    Key,
    Query,
    RawField,
    RawRate,
    Sound,
    check,
    encode,
    framed,
)
from logger.geometry import angle_between, angles_of, attitude_from_vectors

ROOT = Path(__file__).resolve().parents[2]


def lines_from_core(host_programs, rows):
    done = subprocess.run(
        [host_programs / "rows"], input="\n".join(rows).encode(), capture_output=True, check=False
    )
    assert done.returncode == 0, done.stderr.decode()
    return done.stdout.splitlines(keepends=True)


def test_the_vectors_for_c_are_not_stale():
    check = [sys.executable, ROOT / "tools" / "firmware-vectors", "--check"]
    done = subprocess.run(check, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


def test_the_core_passes_the_vectors(host_programs):
    done = subprocess.run([host_programs / "vectors"], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    cases = int(done.stdout.split()[0])
    assert cases > 180
    assert done.stdout == f"{cases} cases, 0 differ\n"


def dash(value):
    return "-" if value is None else str(int(value))


def random_sentence(chance):
    """A row for the core and the same sentence as a value; limits and gaps come up often."""

    def number(low, high):
        kind = chance.random()
        if kind < 0.1:
            return chance.choice([low, high, max(low, 0)])
        return chance.randint(low, high)

    def maybe(low, high):
        return None if chance.random() < 0.08 else number(low, high)

    def text():
        return "".join(chance.choice("aZ09 $*,\\^~µ\n") for _ in range(chance.randint(0, 3)))

    def hexed(value):
        return value.encode().hex() or "."

    seq, t_ms = number(0, 65535), number(0, 2**32 - 1)
    field = [maybe(-160_000, 160_000) for _ in range(6)]
    rate = [maybe(-400_000, 400_000) for _ in range(3)]
    match chance.choices("AMGKIE", weights=(30, 30, 25, 8, 4, 3))[0]:
        case "A":
            values = maybe(0, 35999), maybe(-18000, 18000), maybe(-9000, 9000), number(0, 15)
            return ["A", seq, t_ms, *map(dash, values)], Attitude(seq, t_ms, *values)
        case "M":
            return ["M", seq, t_ms, *map(dash, field)], RawField(seq, t_ms, *field)
        case "G":
            values = *rate, maybe(-1000, 2000)
            return ["G", seq, t_ms, *map(dash, values)], RawRate(seq, t_ms, *values)
        case "K":
            key, down = chance.randint(1, 2), chance.random() < 0.5
            return ["K", seq, t_ms, key, int(down)], Key(seq, t_ms, key, down)
        case "I":
            texts = [text() for _ in range(3)]
            bits, rate_hz, protocol = chance.randint(0, 7), number(1, 200), number(1, 65535)
            streams = "".join(letter for i, letter in enumerate("AMG") if bits >> i & 1)
            return (
                ["I", protocol, *map(hexed, texts), rate_hz, bits],
                Identity(protocol, *texts, rate_hz, streams),
            )
        case _:
            code, words = chance.randint(0, 3), text()
            return ["E", t_ms, code, hexed(words)], Fault(t_ms, FAULT_CODES[code], words)


def test_62000_random_rows_come_out_byte_for_byte(host_programs):
    chance = random.Random(62_000)
    made = [random_sentence(chance) for _ in range(62_000)]
    written = lines_from_core(host_programs, [" ".join(map(str, row)) for row, _ in made])
    assert len(written) == len(made)
    differing = [
        (line, sentence)
        for line, (_, sentence) in zip(written, made, strict=True)
        if line != encode(sentence)
    ]
    assert differing == []


def test_numbers_outside_the_limits_become_empty_fields(host_programs):
    rows = ["M 1 20 160001 -160001 0 2147483647 -2147483647 5", "A 1 20 36000 18001 -9001 3"]
    field, attitude = lines_from_core(host_programs, rows)
    assert field == encode(RawField(1, 20, None, None, 0, None, None, 5))
    assert attitude == encode(Attitude(1, 20, None, None, None, 3))


def test_a_sentence_that_would_be_too_long_is_not_begun(host_programs):
    assert lines_from_core(host_programs, [f"E 1 0 {'78' * 60}"]) == [b"too long\r\n"]


REASON_NUMBERS = {reason: number for number, reason in enumerate(REASONS)}
CUE_NUMBERS = {"OFF": 0, "GOOD": 1, "REDO": 2, "FIELD": 3, "SUN": 4, "DONE": 5}
FRAMING = ("noise", "too long", "no checksum", "unprintable", "checksum", "check")


def as_a_board_sees_it(piece):
    """What the core should say of a piece that the Python decoder made."""
    if isinstance(piece, Sound):
        match piece.sentence:
            case Query():
                return "query"
            case Configure(rate_hz, streams):
                bits = sum(1 << "AMG".index(letter) for letter in streams)
                return f"configure:{rate_hz}:{bits}"
            case Cue(cue):
                return f"cue:{CUE_NUMBERS[cue]}"
        return "ignored"
    told_a_board = piece.raw.startswith((b"$PHLGQ,", b"$PHLGC,", b"$PHLGU,"))
    if piece.reason in FRAMING or told_a_board:
        return f"refused:{REASON_NUMBERS[piece.reason]}"
    return "ignored"


def random_stream(chance):
    """Commands, other sentences and noise, some of it damaged, some of it cut."""
    parts = []
    for _ in range(chance.randint(1, 8)):
        body = chance.choice(
            [
                b"PHLGQ",
                b"PHLGC,%d,%s"
                % (chance.randint(-3, 260), chance.choice([b"A", b"AM", b"AA", b""])),
                b"PHLGC,%s,GMA" % chance.choice([b"007", b"+5", b"-0", b"0", b"9" * 20, b"12.5"]),
                b"PHLGU,%s" % chance.choice([b"GOOD", b"OFF", b"sun", b"", b"DONE,more"]),
                b"PHLGK,1,20,1,D",
                b"PHLGC,50",
                b"PHLGU",
                b"PHLGZ" + b"x" * chance.randint(0, 140),
            ]
        )
        part = framed(b"%s,%04X" % (body, check(body) ^ (chance.random() < 0.1)))
        if chance.random() < 0.3:
            at = chance.randrange(len(part))
            part = part[:at] + bytes([chance.randrange(256)]) + part[at + chance.randint(0, 2) :]
        if chance.random() < 0.2:
            part = chance.randbytes(chance.randint(0, 160)) + part
        parts.append(part)
    return b"".join(parts)


def test_core_and_decoder_make_the_same_of_any_stream(host_programs):
    chance = random.Random(3)
    streams = [random_stream(chance) for _ in range(4000)]
    said = lines_from_core(host_programs, [f"B {stream.hex()}" for stream in streams])
    seen = set()
    for stream, line in zip(streams, said, strict=True):
        decoder = Decoder()
        expected = [as_a_board_sees_it(p) for p in decoder.feed(stream) + decoder.finish()]
        assert line.decode().split() == expected, stream
        seen.update(word.split(":")[0] + ":" + word.split(":")[-1] for word in expected)
    assert {f"refused:{number}" for number in range(len(REASONS))} <= seen


def core_attitudes(host_programs, field, force):
    rows = ["T " + " ".join(map(str, (*m, *f))) for m, f in zip(field, force, strict=True)]
    return np.array([line.split() for line in lines_from_core(host_programs, rows)], dtype=int)


def test_attitude_in_whole_numbers_agrees_with_the_rotation_of_floats(host_programs):
    chance = np.random.default_rng(9)
    n = 4000
    # 25 to 65 uT and 0.5 to 1.5 g in every direction, but for fields along the vertical, where
    # a heading means nothing
    force = chance.normal(size=(n, 3))
    force *= (chance.uniform(5000, 15000, n) / np.linalg.norm(force, axis=1))[:, None]
    field = chance.normal(size=(n, 3))
    field *= (chance.uniform(2500, 6500, n) / np.linalg.norm(field, axis=1))[:, None]
    force, field = np.rint(force).astype(int), np.rint(field).astype(int)
    cosine = np.sum(force * field, axis=1) / (
        np.linalg.norm(force, axis=1) * np.linalg.norm(field, axis=1)
    )
    sure = np.abs(cosine) < 0.98
    upright = np.linalg.norm(force[:, 1:], axis=1) > 0.05 * np.linalg.norm(force, axis=1)
    rows = sure & upright
    got = core_attitudes(host_programs, field[rows], force[rows])
    heading, tilt, pitch = angles_of(attitude_from_vectors(field[rows] / 100, force[rows] / 1e4))
    # A hundredth is the wire's resolution; half of it is rounding, the rest is the arithmetic
    assert np.max(np.abs(angle_between(got[:, 0] / 100, heading))) <= 0.0101
    assert np.max(np.abs(angle_between(got[:, 1] / 100, tilt))) <= 0.0101
    assert np.max(np.abs(got[:, 2] / 100 - pitch)) <= 0.0101
    assert np.all(got[:, 3] == 1)
    assert np.all((got[:, 0] >= 0) & (got[:, 0] < 36000))


def test_attitude_of_the_specifications_example(host_programs):
    # $PHLGM and $PHLGA of one instant in the contract: the heading is the demo board's own
    got = core_attitudes(host_programs, [(-2990, 141, 3752)], [(2045, 367, -9782)])[0]
    assert list(got) == [18742, -215, 1180, 1]


def test_attitude_without_a_field_or_a_force(host_programs):
    rows = ["T - - - 0 0 -10000", "T 0 0 0 0 0 -10000", "T 2000 0 4500 - - -", "T 1 2 3 0 0 0"]
    level, no_field, no_force, falling = (
        line.split() for line in lines_from_core(host_programs, rows)
    )
    nothing = str(-(2**31)).encode()
    assert level == no_field == [nothing, b"0", b"0", b"0"]
    assert no_force == falling == [nothing, nothing, nothing, b"0"]


def test_attitude_at_the_extremes_of_a_sensor(host_programs):
    extremes = [-160_000, -32_768, -1, 0, 1, 32_767, 160_000]
    chance = random.Random(1)
    vectors = [[chance.choice(extremes) for _ in range(3)] for _ in range(400)]
    got = core_attitudes(host_programs, vectors[:200], vectors[200:])
    for (heading, tilt, pitch, status), force in zip(got, vectors[200:], strict=True):
        assert heading == -(2**31) or 0 <= heading < 36000
        assert status in (0, 1)
        if any(force):
            assert -18000 <= tilt <= 18000
            expected = math.degrees(math.atan2(force[0], math.hypot(force[1], force[2])))
            assert abs(pitch / 100 - expected) <= 0.0101
