"""Read in bulk or singly, a sentence is the same; what is unusual is left to be read singly."""

import subprocess
import sys
from typing import get_args

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from firmware_protocol import (
    Attitude,
    Key,
    Measuring,
    RawField,
    RawRate,
    check,
    decode_sentence,
    encode,
    framed,
)
from firmware_protocol.bulk import read_in_bulk

SEQ, T_MS = st.integers(0, 65535), st.integers(0, 2**32 - 1)
FIELD, TURN = st.integers(-160_000, 160_000), st.integers(-400_000, 400_000)
WHOLE = st.one_of(
    st.builds(
        Attitude,
        SEQ,
        T_MS,
        st.integers(0, 35999),
        st.integers(-18000, 18000),
        st.integers(-9000, 9000),
        st.integers(0, 9),
    ),
    st.builds(RawField, SEQ, T_MS, FIELD, FIELD, FIELD, FIELD, FIELD, FIELD),
    st.builds(RawRate, SEQ, T_MS, TURN, TURN, TURN, st.integers(-1000, 2000)),
)


def ours(content):
    """A line with these fields, however odd, under the right CRC and XOR."""
    return framed(content + b",%04X" % check(content))[:-2]


def plain(sentence):
    return encode(sentence)[:-2]


# Fields near and beyond what each kind allows, so that sound sentences of any content come up
ODD_FIELD = st.sampled_from(
    b"0|-0|00|7|-7|+7|1.5|0.00|-0.00|-0.05|.50|9|F|a|65535|65536|-160000|-160001|400000|4294967296|"
    b"99999999999999999999|359.99|360.00|1e3|nan| 1|1 |".split(b"|")
)
ODD = st.builds(
    lambda tag, fields: ours(b",".join([tag, *fields])),
    st.sampled_from([b"PHLGA", b"PHLGM", b"PHLGG", b"PHLGMM", b"PHLG"]),
    st.lists(ODD_FIELD, min_size=3, max_size=9),
)


def spoilt(line, at, byte):
    at %= len(line)
    return line[:at] + bytes([byte]) + line[at + 1 :]


DAMAGED = st.builds(spoilt, WHOLE.map(plain), st.integers(0, 99), st.sampled_from(range(32, 127)))
LINES = st.lists(
    st.one_of(
        WHOLE.map(plain),
        ODD,
        DAMAGED,
        st.builds(Key, SEQ, T_MS, st.just(1), st.booleans()).map(plain),
        st.binary(max_size=40).filter(lambda line: b"\n" not in line),
        st.just(plain(RawRate(1, 2, 3, 4, 5, 6)) + b"\r"),
        st.just(b"$" * 130),
    ),
    max_size=12,
)


def in_bulk(lines):
    return {
        line: kind.made(*wire)
        for kind in read_in_bulk(lines)
        for line, wire in zip(kind.lines.tolist(), kind.wire.tolist(), strict=True)
    }


@given(LINES)
@example([ours(b"PHLGM,1,2," + b"9" * 40 + b",0,0,0,0,0"), ours(b"PHLGA,1,2,0.05,-0.00,-0.05,9")])
def test_what_is_read_in_bulk_is_what_is_read_singly(lines):
    for line, sentence in in_bulk(lines).items():
        assert sentence == decode_sentence(lines[line])


@given(st.lists(WHOLE, max_size=20), LINES)
def test_every_measuring_sentence_with_nothing_missing_is_read_in_bulk(sentences, others):
    lines = [line for pair in zip(map(plain, sentences), others, strict=False) for line in pair]
    assert set(range(0, len(lines), 2)) <= set(in_bulk(lines))


def test_what_is_unusual_is_left_to_be_read_singly():
    usual = plain(RawRate(1, 20, 1, 2, 3, 231))
    unusual = [
        plain(RawRate(1, 20, 1, 2, None, 231)),
        plain(Attitude(1, 20, 0, 0, 0, 12)),
        ours(b"PHLGG,1,20,1,2,3,231,new"),
        ours(b"PHLGG,1,20,1,2,400001,231"),
        usual[:-1] + b"?",
        usual[:-2] + b"%02X" % (int(usual[-2:], 16) ^ 1),
        framed(b"PHLGG,1,20,1,2,3,231,0000")[:-2],
        usual.replace(b",231,", b",232,"),
        usual + b"\r",
        b"",
    ]
    assert list(in_bulk([usual, *unusual, usual])) == [0, len(unusual) + 1]
    assert read_in_bulk([usual, b"\n"]) == []
    assert read_in_bulk([]) == []


@pytest.mark.parametrize("made", get_args(Measuring))
def test_every_measuring_sentence_can_be_read_in_bulk(made):
    line = plain(made(1, 2, 3, *[4] * (len(made.__slots__) - 3)))
    (kind,) = read_in_bulk([line])
    assert (kind.made, kind.wire.shape) == (made, (1, len(made.__slots__)))


def test_the_wire_is_read_and_written_without_numpy():
    program = "import sys; sys.modules['numpy'] = None; import firmware_protocol"
    assert subprocess.run([sys.executable, "-c", program], check=False).returncode == 0
