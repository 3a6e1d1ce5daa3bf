"""What came from a port that gives no heading: the same words wherever it is met."""

from __future__ import annotations

from dataclasses import dataclass

from logger.recording.decode import StreamBuilder


@dataclass(frozen=True)
class Heard:
    """What came instead of a measurement, and what to do about it."""

    came: str
    so: str  # What that tells; may be empty
    hint: str

    @property
    def what(self) -> str:
        """Both in words, without a full stop."""
        return self.within("")

    def within(self, time: str) -> str:
        """The same with a time, such as " in 10 s", where it belongs."""
        return f"{self.came}{time}: {self.so}" if self.so else f"{self.came}{time}"


SILENCE = Heard("not one byte", "", "check the cable and that the board is running")


def heard(size: int, builder: StreamBuilder) -> Heard | None:
    """What came so far; None where there is a measurement among it."""
    if len(builder):
        return None
    if not size:
        return SILENCE
    if builder.boards or (builder.accepted and not builder.unknown):
        return Heard(
            "the board answers but sends no measurement", "", "check the streams it is set to send"
        )
    if sentences := builder.accepted + builder.unknown:
        return Heard(
            f"{sentences} sentences, none with a heading",
            "another device",
            "see which is which with: horizon-logger ports",
        )
    return Heard(
        f"{size} bytes, no sentence",
        "another speed or device",
        "check the baud rate (115200) and that this is the board's port",
    )
