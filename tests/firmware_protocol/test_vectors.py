"""The Python codec against the vector file that all readers share."""

import json
from pathlib import Path

import pytest

import firmware_protocol
from firmware_protocol import (
    REASONS,
    Decoder,
    Refusal,
    Sound,
    Unknown,
    check,
    checksum,
    decode_sentence,
    encode,
)

VECTORS = json.loads((Path(firmware_protocol.__file__).parent / "vectors.json").read_bytes())


def cases(part):
    return pytest.mark.parametrize("case", VECTORS[part], ids=lambda case: case["name"])


def value(described):
    fields = dict(described)
    return getattr(firmware_protocol, fields.pop("kind"))(**fields)


def test_crc_and_xor_of_the_usual_nine_digits():
    # CRC-16 with start 0xFFFF and polynomial 0x1021: 29B1 is the check value of WIRE's text and of
    # the public CRC catalogues; the XOR of ASCII 1..9 is 31.
    assert f"{check(b'123456789'):04X}" == VECTORS["checks"]["crc"] == "29B1"
    assert f"{checksum(b'123456789'):02X}" == VECTORS["checks"]["xor"] == "31"


@cases("accept")
def test_reads_and_writes(case):
    sentence = value(case["sentence"])
    assert decode_sentence(case["text"].encode("latin-1")) == sentence
    written = case.get("written", case["text"]).encode("latin-1") + b"\r\n"
    assert encode(sentence) == written
    assert len(written) <= 82


@cases("ignore")
def test_ignores(case):
    assert decode_sentence(case["text"].encode("latin-1")) == Unknown(case["tag"])


@cases("refuse")
def test_refuses(case):
    assert decode_sentence(case["text"].encode("latin-1")) == Refusal(case["reason"])


def test_every_reason_has_a_case():
    assert {case["reason"] for case in VECTORS["refuse"]} == set(REASONS)


@cases("unwritable")
def test_will_not_write(case):
    with pytest.raises(ValueError, match=r"."):
        encode(value(case["sentence"]))


@cases("streams")
def test_streams(case):
    decoder = Decoder()
    pieces = [piece for chunk in case["chunks"] for piece in decoder.feed(chunk.encode("latin-1"))]
    pieces += decoder.finish()
    came_out = [
        {"sound": piece.raw.decode("latin-1")}
        if isinstance(piece, Sound)
        else {"unsound": piece.raw.decode("latin-1"), "reason": piece.reason}
        for piece in pieces
    ]
    assert came_out == case["pieces"]
    assert decoder.lost == case["lost"]
    assert decoder.refused.total() == sum("unsound" in piece for piece in came_out)
    assert decoder.accepted + decoder.unknown == sum("sound" in piece for piece in came_out)


def test_the_specification_shows_the_same_examples():
    text = (Path(firmware_protocol.__file__).parent / "SPECIFICATION.md").read_text("utf-8")
    shown = text.split("```")[1].strip().splitlines()
    examples = [case["text"] for case in VECTORS["accept"] if case["name"].startswith("example")]
    assert shown == examples


def test_the_specification_lists_every_reason():
    text = (Path(firmware_protocol.__file__).parent / "SPECIFICATION.md").read_text("utf-8")
    for reason in REASONS:
        assert f"| `{reason}` |" in text
