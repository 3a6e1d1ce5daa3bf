"""What to say while a calibration is taken: words that fit what the person is doing just then."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from logger.calibration import NEVER_LOOK, TumbleCoverage
from logger.calibration.bearing import SHADOW_HOW, TURN_BETWEEN
from logger.calibration.level import HOW as LEVEL_HOW
from logger.live.pointer import Pointer
from logger.live.state import Figure
from logger.recording.samples import Samples

END = "enough: end with the trigger, q or End"
ON_THE_GROUND = "Calibrate on the ground, before going up, 10 m from cars, steel and cables."
REST_S = 3.0
"""The board lies still for so long before a tumble: that shows the gyro's bias. [s]"""
WHILE_MOVING = "that press came while moving: hold still first, then press"
_HOLDING_S = 0.7
_TURN = "turn once round in 15 s, eyes down, then sight it again"


@dataclass(frozen=True)
class Way:
    """How one calibration is taken."""

    purpose: Any  # `Purpose`, or plane: as the recording's header has it
    name: str
    instructions: tuple[str, ...]  # Before it begins, a sentence an item
    sight: str = ""  # What to do first
    again: str = ""  # What to do between two holds
    hold_s: float = 0.0  # How long to hold still. [s]
    times: int = 1  # How often
    pressed: bool = False  # Whether each hold is ended by a press
    still: str = "hold still"


def _sentence(words: str) -> str:
    return words[0].upper() + words[1:] + "."


WAYS: Mapping[str, Way] = {
    "compass": Way(
        "compass", "compass", (
            ON_THE_GROUND,
            "Put the board down and leave it for 3 s. Then pick it up and turn it over all its "
            "sides, slowly, turning yourself round as well, until it says enough.",
        )
    ),
    "swing": Way(
        "compass", "compass swing", (
            ON_THE_GROUND,
            "Sight targets of known bearing all the way round, at least 8 without a gap above "
            "60°: hold still on each for 3 s and press.",
        ),
        "sight the first target and hold still",
        "sight the next target and hold still",
        3.0,
        8,
        True,
    ),
    "level": Way(
        "level", "level", (
            ON_THE_GROUND,
            _sentence(LEVEL_HOW + "; three times"),
            "Then, if you can: sight along any straight edge for 4 s, turn round and sight back "
            "along it for 4 s, upright both times.",
        ),
        "sight the target, the board upright, and hold still",
        "roll the board over, sight the same target and hold still",
        4.0,
        3,
    ),
    "sun": Way(
        "bearing", "bearing by the shadow", (_sentence(NEVER_LOOK), _sentence(SHADOW_HOW)),
        "your back to the sun, sight along the shadow and hold still",
        _TURN,
        3.0,
        3,
        True,
    ),
    "target": Way(
        "bearing", "bearing of a target", (
            "Sight the target, hold still for 3 s and press; three times.",
            _sentence(TURN_BETWEEN),
        ),
        "sight the target and hold still",
        _TURN,
        3.0,
        3,
        True,
    ),
    "plane": Way(
        "plane", "plane", (
            "Lay the board on its back on the surface, its sight up the slope, and leave it for "
            "5 s. Lay it again turned end for end if you can reach.",
            "Do not lean over an edge or step on fragile roofing for it.",
        ),
        "lay the board on the surface, its sight up the slope",
        "turn it end for end and lay it down again",
        4.5,
        2,
        still="leave it lying",
    ),
}  # fmt: skip


@dataclass
class Guide:
    """A calibration going on: what was held, pressed or turned so far."""

    how: str  # One of `WAYS`
    said: list[str] = field(default_factory=list)  # What happened and was not told yet
    good: int = 0  # Holds pressed, or held long enough
    _faces: dict[bool, int] = field(default_factory=lambda: {True: 0, False: 0})  # By upright
    _coverage: TumbleCoverage = field(default_factory=TumbleCoverage)
    _still_s: float = 0.0
    _upright: bool = True
    _counted: bool = False  # This hold

    @property
    def way(self) -> Way:
        """How it is taken."""
        return WAYS[self.how]

    def take(self, new: Samples, here: Pointer | None, presses: int) -> None:
        """Take what came since the last call: samples, where the board is now, new presses."""
        if self.how == "compass":
            self._coverage = self._coverage.plus(new)
            return
        was_still = self._still_s >= _HOLDING_S
        self._still_s = here.still_s if here is not None else 0.0
        if self._still_s < _HOLDING_S:
            self._counted = False
        elif here is not None:
            roll = float(here.sight.roll_deg[-1])
            self._upright = np.isnan(roll) or abs(roll) < 90.0
        if self.way.pressed:
            good = self._still_s >= _HOLDING_S or was_still
            if presses and not good:
                self.said.append(WHILE_MOVING)
            elif presses and not self._counted:
                self._count()
        elif self._still_s >= self.way.hold_s and self._wanted:
            self._count()

    def _count(self) -> None:
        self._counted = True
        self._faces[self._upright] += 1
        self.good = min(self._faces.values()) if self.how == "level" else self.good + 1
        self.said.append("good")

    @property
    def _wanted(self) -> bool:
        """Whether this hold is to count: a level takes the two faces in turn."""
        in_turn = self._upright == (self._faces[True] <= self._faces[False])
        return not self._counted and (self.how != "level" or in_turn)

    @property
    def enough(self) -> bool:
        """Whether nothing more is needed."""
        return self._coverage.enough if self.how == "compass" else self.good >= self.way.times

    @property
    def to_do(self) -> str:
        """The one thing to do now."""
        way = self.way
        if self.how == "compass":
            lain_s = self._coverage.seconds_s
            if lain_s < REST_S:
                return f"leave the board lying: {lain_s:.0f} of {REST_S:.0f} s"
            return self._coverage.advice()
        if self._still_s >= _HOLDING_S and self._wanted:
            if self._still_s < way.hold_s:
                return f"{way.still}: {self._still_s:.0f} of {way.hold_s:.0f} s"
            return "press now"
        if self.enough:
            better = "; better: an edge there and back" if self.how == "level" else ""
            return END + better
        if not any(self._faces.values()):
            return way.sight
        again = way.again
        if self.how == "level" and self._faces[True] <= self._faces[False]:
            again = "turn it upright again, sight the same target and hold still"
        return f"good, {self._so_far}: {again}" if self._counted else again

    @property
    def _so_far(self) -> str:
        if self.how == "level":
            return f"upright {self._faces[True]}, rolled over {self._faces[False]}"
        return f"{self.good} of {self.way.times}"

    @property
    def figures(self) -> tuple[Figure, ...]:
        """What is to be read at arm's length."""
        if self.how == "compass":
            return (Figure("turned", 100 * self._coverage.share, "%", 0),)
        still, of = Figure("still", self._still_s, "s", 0), f"of {self.way.times}"
        if self.how == "level":
            upright, rolled = self._faces[True], self._faces[False]
            return still, Figure("upright", upright, of, 0), Figure("rolled", rolled, of, 0)
        return still, Figure("done", self.good, of, 0)
