"""What holds for every sentence and for all bytes, however they arrive."""

import random
from itertools import pairwise

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from firmware_protocol import (
    CUES,
    FAULT_CODES,
    LONGEST_READ,
    Attitude,
    Configure,
    Cue,
    Decoder,
    Fault,
    Identity,
    Key,
    MagneticHeading,
    PitchRoll,
    Query,
    RawField,
    RawRate,
    Refusal,
    TrueHeading,
    Unknown,
    checksum,
    decode_sentence,
    encode,
    framed,
)


def whole(low, high):
    return st.integers(low, high)


def maybe(low, high):
    return st.none() | st.integers(low, high)


def thousandths(low, high):
    return st.none() | st.integers(low * 1000, high * 1000).map(lambda n: n / 1000)


SEQ = whole(0, 65535)
T_MS = whole(0, 2**32 - 1)
FIELD = maybe(-160_000, 160_000)
TURN = maybe(-400_000, 400_000)
SHORT_TEXT = st.text(max_size=4)
STREAMS = st.permutations("AMG").flatmap(
    lambda order: st.integers(1, 3).map(lambda n: "".join(order[:n]))
)
OUR_SENTENCES = st.one_of(
    st.builds(
        Identity, whole(1, 65535), SHORT_TEXT, st.just("7"), st.just(""), whole(1, 200), STREAMS
    ),
    st.builds(
        Attitude,
        SEQ,
        T_MS,
        maybe(0, 35999),
        maybe(-18000, 18000),
        maybe(-9000, 9000),
        whole(0, 15),
    ),
    st.builds(RawField, SEQ, T_MS, FIELD, FIELD, FIELD, FIELD, FIELD, FIELD),
    st.builds(RawRate, SEQ, T_MS, TURN, TURN, TURN, maybe(-1000, 2000)),
    st.builds(Key, SEQ, T_MS, whole(1, 2), st.booleans()),
    st.builds(Fault, T_MS, st.sampled_from(FAULT_CODES), SHORT_TEXT),
    st.builds(Query),
    st.builds(Configure, whole(1, 200), STREAMS),
    st.builds(Cue, st.sampled_from(CUES)),
)
STANDARD_SENTENCES = st.one_of(
    st.builds(MagneticHeading, thousandths(0, 360), thousandths(-180, 180), thousandths(-180, 180)),
    st.builds(TrueHeading, thousandths(0, 360)),
    st.builds(PitchRoll, thousandths(-90, 90), thousandths(-180, 180)),
)
# Bytes that are likely to fall foul of the framing, beside any bytes at all
SOME_BYTES = st.lists(
    st.one_of(
        st.binary(max_size=8),
        st.sampled_from([b"$", b"*", b"\r", b"\n", b"\r\n", b"$PHLGQ,5922*62", b"A" * 130]),
        OUR_SENTENCES.map(encode),
    ),
    max_size=12,
).map(b"".join)


def everything(chunks):
    decoder = Decoder()
    pieces = [piece for chunk in chunks for piece in decoder.feed(chunk)] + decoder.finish()
    return pieces, (decoder.accepted, decoder.unknown, decoder.lost, decoder.refused)


@given(OUR_SENTENCES | STANDARD_SENTENCES)
def test_what_is_written_is_read_back(sentence):
    line = encode(sentence)
    assert line.endswith(b"\r\n")
    assert len(line) <= 82
    assert decode_sentence(line[:-2]) == sentence


@given(SOME_BYTES, st.data())
@example(b"$" + b"A" * 126 + b"\r\r$", None)
@example(b"$PHLGQ,5922*62\r\r$PHLGQ,5922*62", None)
def test_splitting_never_changes_what_comes_out(stream, data):
    at_once = everything([stream])
    assert everything([stream[i : i + 1] for i in range(len(stream))]) == at_once
    if data is not None and stream:
        cuts = sorted(data.draw(st.lists(st.integers(0, len(stream)), max_size=6)))
        edges = [0, *cuts, len(stream)]
        assert everything([stream[a:b] for a, b in pairwise(edges)]) == at_once


@given(SOME_BYTES)
def test_every_byte_received_is_accounted_for(stream):
    pieces, _ = everything([stream])
    rest = stream
    for piece in pieces:
        at = rest.index(piece.raw)
        assert rest[:at].strip(b"\r\n") == b""  # only line ends are passed over
        rest = rest[at + len(piece.raw) :]
    assert rest.strip(b"\r\n") == b""


@given(st.binary(max_size=200))
def test_any_bytes_are_read_or_refused(text):
    assert decode_sentence(text) is not None


def test_dropped_bytes_pass_the_xor_but_not_the_crc():
    # The reason for the CRC: two bytes lost anywhere, a serial overrun's usual damage
    chance = random.Random(7)
    drops = xor_agrees = taken = 0
    for _ in range(6000):
        numbers = [chance.randint(-9999, 9999) for _ in range(6)]
        line = encode(RawField(chance.randint(0, 65535), chance.randint(0, 10**7), *numbers))[:-2]
        first, second = sorted(chance.sample(range(1, len(line) - 3), 2))
        damaged = line[:first] + line[first + 1 : second] + line[second + 1 :]
        drops += 1
        xor_agrees += b"%02X" % checksum(damaged[1:-3]) == damaged[-2:]
        taken += not isinstance(decode_sentence(damaged), Refusal)
    assert 0.02 < xor_agrees / drops < 0.10
    assert taken == 0


@pytest.mark.parametrize("stuck", [b"\x00", b"\xff", b"$", b"A", b"$A", b"\r"])
def test_a_stuck_port_takes_no_memory(stuck):
    decoder = Decoder()
    for _ in range(200):
        decoder.feed(stuck * 50)
        # Line ends without a sentence are held only until the next other byte decides
        assert len(decoder._tail) <= LONGEST_READ


# Sentences of real devices, typed in; sources beside them
PUBLIC = [
    ("GPHDT,274.07,T", "03", TrueHeading(274.07)),  # gpsd www/NMEA.adoc
    ("HEROT,0.0,A", "2B", Unknown("HEROT")),  # gpsd www/NMEA.adoc
    # widely used example, found in the tests of several open parsers
    ("HCHDG,98.3,0.0,E,12.6,W", "57", MagneticHeading(98.3, 0.0, -12.6)),
    # gpsd test/daemon/tnt-revolution.log: a board whose pitch of 171 is not in degrees
    (
        "HCXDR,A,171,D,PITCH,A,-37,D,ROLL,G,367,,MAGX,G,2420,,MAGY,G,-8984,,MAGZ",
        "41",
        Refusal("range"),
    ),
    ("PTNTHTM,14223,N,169,N,-43,N,13641,2454", "15", Unknown("PTNTHTM")),  # same log
    # gpsd www/NMEA.adoc
    (
        "PASHR,085335.000,224.19,T,-01.26,+00.83,+00.00,0.101,0.113,0.267,1,0",
        "06",
        Unknown("PASHR"),
    ),
    ("APXDR,A,0.135,D,PTCH", "7C", PitchRoll(0.135, None)),  # gpsd pypilot.log
    ("APHDM,218.634,M", "39", MagneticHeading(218.634)),  # gpsd pypilot.log
    ("IIHDG,183,,,01,E", "19", MagneticHeading(183.0, None, 1.0)),  # anemomind log, 2014
    ("PTNTHPR,354.9,N,5.2,N,0.2,N", "3A", Unknown("PTNTHPR")),  # comment in an open driver
    ("IIHDT,,T", "0C", TrueHeading(None)),  # gpsd www/NMEA.adoc rules: an empty heading is real
    ("HCHDG,101.1,,,7.1,W", "3C", MagneticHeading(101.1, None, -7.1)),  # the contract's example
]


@pytest.mark.parametrize(("body", "xor", "meaning"), PUBLIC, ids=[row[0] for row in PUBLIC])
def test_public_sentences(body, xor, meaning):
    assert framed(body.encode()) == f"${body}*{xor}\r\n".encode()
    assert decode_sentence(f"${body}*{xor}".encode()) == meaning
