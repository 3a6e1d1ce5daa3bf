"""The wire contract between a board and the host: specification, vectors, Python codec, C core."""

from firmware_protocol.codec import (
    CUES,
    FAULT_CODES,
    LONGEST_READ,
    LONGEST_WRITTEN,
    PROTOCOL_VERSION,
    REASONS,
    check,
    checksum,
    decode_sentence,
    encode,
    framed,
)
from firmware_protocol.decoder import Counts, Decoder, Piece, Sound, Unsound
from firmware_protocol.sentences import (
    PRESS_KEY,
    TRIGGER_KEY,
    Attitude,
    BoardSentence,
    Configure,
    Cue,
    Fault,
    HostSentence,
    Identity,
    Key,
    MagneticHeading,
    Measuring,
    PitchRoll,
    Query,
    RawField,
    RawRate,
    Refusal,
    Sentence,
    StandardSentence,
    TrueHeading,
    Unknown,
)
