"""The last value that is taken and the first that is not; what is said of the others."""

import pytest

from firmware_protocol import (
    Attitude,
    Configure,
    Decoder,
    Identity,
    Key,
    MagneticHeading,
    PitchRoll,
    Refusal,
    Sound,
    TrueHeading,
    Unknown,
    Unsound,
    decode_sentence,
    encode,
    framed,
)
from firmware_protocol.codec import check

# --- Standard sentences ---

BEYOND = Refusal("range")


@pytest.mark.parametrize(
    ("body", "value"),
    [
        (b"HCHDM,0,M", MagneticHeading(0.0)),
        (b"HCHDM,0.5,M", MagneticHeading(0.5)),
        (b"HCHDM,-0.5,M", BEYOND),
        (b"HCHDM,360,M", MagneticHeading(360.0)),
        (b"HCHDM,360.5,M", BEYOND),
        (b"HEHDT,360.0,T", TrueHeading(360.0)),
        (b"HEHDT,360.1,T", BEYOND),
        (b"HCHDG,360,180,E,180,W", MagneticHeading(360.0, 180.0, -180.0)),
        (b"HCHDG,1,1.0,W,0,W", MagneticHeading(1.0, -1.0, 0.0)),
        (b"HCHDG,360.5,,,,", BEYOND),
        (b"HCHDG,1,180.5,E,,", BEYOND),
        (b"HCHDG,1,,,180.5,W", BEYOND),
        (b"YXXDR,A,90,D,PITCH,A,-180,D,ROLL", PitchRoll(90.0, -180.0)),
        (b"YXXDR,A,-90,D,PITCH,A,180,D,ROLL", PitchRoll(-90.0, 180.0)),
        (b"YXXDR,A,90.5,D,PITCH", BEYOND),
        (b"YXXDR,A,-90.5,D,PITCH", BEYOND),
        (b"YXXDR,A,180.5,D,ROLL", BEYOND),
        (b"YXXDR,A,-180.5,D,ROLL", BEYOND),
        # Transducers come in fours and nowhere between; a tag ends with its comma.
        (b"YXXDR,P,A,5.0,D,PITCH,0,B,x", Unknown("YXXDR")),
        (b"HCHDMX,9,M", Unknown("HCHDMX")),
        (b"GPGGA,1,2,3", Unknown("GPGGA")),
        (b"PHLGQX,%04X" % check(b"PHLGQX"), Unknown("PHLGQX")),
    ],
)
def test_the_last_values_that_are_read_and_the_first_beyond_them(body, value):
    assert decode_sentence(framed(body)[:-2]) == value


@pytest.mark.parametrize(
    ("sentence", "line"),
    [
        (MagneticHeading(0.0, -1.0, 1.0), b"$HCHDG,0.0,1.0,W,1.0,E*"),
        (MagneticHeading(360.0, 180.0, -180.0), b"$HCHDG,360.0,180.0,E,180.0,W*"),
        (MagneticHeading(None), b"$HCHDG,,,,,*"),
        (TrueHeading(100.0), b"$HEHDT,100.0,T*"),
        (PitchRoll(-0.0, -0.0004), b"$YXXDR,A,0.0,D,PITCH,A,0.0,D,ROLL*"),
        (PitchRoll(-90.0, 180.0), b"$YXXDR,A,-90.0,D,PITCH,A,180.0,D,ROLL*"),
        (PitchRoll(-1.25, -180.0), b"$YXXDR,A,-1.25,D,PITCH,A,-180.0,D,ROLL*"),
    ],
)
def test_what_standard_sentences_look_like(sentence, line):
    assert encode(sentence).startswith(line)


@pytest.mark.parametrize(
    ("sentence", "why"),
    [
        (MagneticHeading(360.5), "heading_deg is 360.5, outside 0 to 360"),
        (TrueHeading(-0.5), "heading_deg is -0.5, outside 0 to 360"),
        (MagneticHeading(1.0, 180.5), "deviation_deg is 180.5, outside 0 to 180"),
        (MagneticHeading(1.0, None, 180.5), "variation_deg is 180.5, outside 0 to 180"),
        (PitchRoll(90.5, None), "pitch_deg is 90.5, outside -90 to 90"),
        (PitchRoll(-90.5, None), "pitch_deg is -90.5, outside -90 to 90"),
        (PitchRoll(None, 180.5), "roll_deg is 180.5, outside -180 to 180"),
        (PitchRoll(None, -180.5), "roll_deg is -180.5, outside -180 to 180"),
        (Unknown("X"), r"Unknown\(tag='X'\) cannot be sent"),
        (Attitude(65536, 0, 0, 0, 0, 1), "Attitude.seq is 65536, outside 0 to 65535"),
        (Attitude(0, 0, 1.5, 0, 0, 1), "Attitude.heading_cdeg is 1.5, a whole number is needed"),
        (Key(0, 0, 1, 1), "Key.down is 1, which cannot be written"),
        (Configure(50, "AA"), "Configure.streams is 'AA', which the sentence has no room for"),
    ],
)
def test_what_cannot_be_sent_is_said_by_field_value_and_limit(sentence, why):
    with pytest.raises(ValueError, match=f"^{why}$"):
        encode(sentence)


# --- Text and length ---


def test_every_printable_character_but_five_stands_for_itself():
    assert b",X~!,^2C^24^2A^5C^5E^7F^0A^C3^A9," in encode(
        Identity(1, "X~!", ",$*\\^\x7f\né", "", 50, "A")
    )


def identity_of(length):
    """An identity whose line takes so many bytes, line end included."""
    empty = len(encode(Identity(1, "", "", "", 50, "A")))
    return Identity(1, "x" * (length - empty), "", "", 50, "A")


def test_82_bytes_are_written_and_83_are_not():
    assert len(encode(identity_of(82))) == 82
    with pytest.raises(ValueError, match=r"^Identity takes 83 bytes, 82 are allowed$"):
        encode(identity_of(83))


def test_128_bytes_are_read_and_129_are_not():
    body = b"XXTXT," + b"a" * 200
    longest = framed(body[: 128 - len(b"$*00\r\n")])
    assert len(longest) == 128
    assert decode_sentence(longest[:-2]) == Unknown("XXTXT")
    too_long = framed(body[: 129 - len(b"$*00\r\n")])
    assert decode_sentence(too_long[:-2]) == Refusal("too long")
    assert decode_sentence(b"$" + b"a" * 125) == Refusal("no checksum")
    assert decode_sentence(b"$" + b"a" * 126) == Refusal("too long")
    (taken,) = Decoder().feed(longest)
    assert taken == Sound(longest[:-2], Unknown("XXTXT"))
    first, *_ = Decoder().feed(too_long)
    assert isinstance(first, Unsound)


# --- The stream ---


@pytest.mark.parametrize(
    ("pairs", "lost"),
    [
        ([(0, 0), (1, 20)], 0),
        ([(0, 0), (2, 40)], 1),
        ([(0, 0), (3, 60), (6, 120)], 4),
        ([(7, 0), (7, 0)], 0),
        ([(0, 0), (5, 20)], 4),  # 200 instants a second: as fast as a board may be
        ([(0, 0), (5, 19)], 0),
        ([(0, 0), (6, 24)], 0),
        ([(0, 0), (9, 2**31 - 1)], 8),
        ([(0, 0), (9, 2**31)], 0),  # its clock went back
        ([(65535, 0), (1, 40)], 1),
    ],
)
def test_instants_lost_are_those_a_board_can_have_sent(pairs, lost):
    decoder = Decoder()
    for seq, t_ms in pairs:
        decoder.feed(encode(Attitude(seq, t_ms, 0, 0, 0, 1)))
    assert (decoder.lost, decoder.accepted, decoder.unknown) == (lost, len(pairs), 0)


def test_an_ended_stream_may_go_on_afresh():
    decoder = Decoder()
    line = encode(Attitude(1, 20, 0, 0, 0, 1))
    assert decoder.feed(line[:-2]) == []
    (last,) = decoder.finish()
    assert last.raw == line[:-2]
    assert decoder.finish() == []
    (again,) = decoder.feed(line)
    assert again.raw == line[:-2]


def test_only_line_ends_are_cut_off():
    line = framed(b"XXTXT,a")[:-2]
    assert Decoder().feed(line + b" \n") == [Unsound(line + b" \n", "no checksum")]
    assert Decoder().feed(b"X" + line + b"\n")[0] == Unsound(b"X", "noise")
    assert Decoder().feed(b"noise X\r\n") == [Unsound(b"noise X\r\n", "noise")]
