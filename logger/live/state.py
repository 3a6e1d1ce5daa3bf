"""A moment of what is being recorded, as any display shows it: words and numbers, ready to use."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, fields, replace
from enum import IntEnum
from typing import Any

import numpy as np

from logger.arrays import Floats, Ints, freeze_columns
from logger.horizon_fit import Sector

CELLS = 360
"""Cells of the horizon so far, a degree each."""


class Seen(IntEnum):
    """What is to be said of a part of the horizon; of several, the highest counts."""

    SUNLESS = 0  # The sun never stands there
    TWICE = 1
    ONCE = 2
    MISSING = 3
    DISPUTED = 4  # Passes disagree
    SUN = 5  # Still wanted, and the sun stands there now


MEASURED = (Seen.TWICE, Seen.ONCE, Seen.DISPUTED)


@dataclass(frozen=True, eq=False)
class HorizonSoFar:
    """The horizon cell by cell, clockwise from north."""

    elevation_deg: Floats  # Highest in each cell; NaN where nothing was measured. [deg] Shape (K,)
    seen: Ints  # Members of `Seen`. Shape (K,)

    def __post_init__(self) -> None:
        n = freeze_columns(self, ("elevation_deg",))
        freeze_columns(self, ("seen",), dtype=np.int64, length=n)

    def in_columns(self, columns: int, middle_deg: float) -> HorizonSoFar:
        """The same in another number of cells, the first one half a turn before an azimuth."""
        # Every cell that a column touches, the last one again where it touches fewer.
        n = len(self.seen)
        edge = (middle_deg - 180.0 + np.arange(columns + 1) * 360.0 / columns) / 360.0 * n
        first, end = np.floor(edge[:-1] + 1e-9), np.ceil(edge[1:] - 1e-9)
        cells = first[:, None] + np.arange((end - first).max())
        cells = np.minimum(cells, end[:, None] - 1).astype(int) % n
        elevation = np.fmax.reduce(self.elevation_deg[cells], axis=1)
        return HorizonSoFar(elevation, self.seen[cells].max(axis=1))

    def share(self, *what: Seen) -> float:
        """Part of the sun's range of which one of these is to be said."""
        crossed = self.seen != Seen.SUNLESS
        return float(np.isin(self.seen, what).sum() / max(int(crossed.sum()), 1))


@dataclass(frozen=True)
class Figure:
    """A number to be read at arm's length; NaN where it is not known."""

    name: str
    value: float
    unit: str
    decimals: int = 1

    @property
    def text(self) -> str:
        """The number alone."""
        return "-" if math.isnan(self.value) else f"{self.value:.{self.decimals}f}"


@dataclass(frozen=True)
class Caution:
    """Something that goes before what is to be done."""

    kind: str  # silence, sun, tremor or field
    words: str


@dataclass(frozen=True)
class Counts:
    """Of the recording so far."""

    samples: int = 0
    rate_hz: float = 0.0  # Of late. [Hz]
    lost: int = 0  # By the board's own count
    damaged: int = 0  # Sentences refused
    newest_seq: int = -1  # The wire's counter of the newest sample shown; -1 for none


@dataclass(frozen=True)
class Question:
    """What is asked between two recordings, beside its words."""

    choices: tuple[str, ...]  # Of which Enter takes the first
    entry: str = ""  # What a text to be entered is; none where empty. The first choice takes it
    kinds: bool = False  # Whether the kind of an obstruction goes with it
    number: int = 0  # Tells it from the question before, which may be worded alike


@dataclass(frozen=True, eq=False)
class LiveState:
    """Everything that a screen, a line or a page shows of this moment."""

    title: str  # Job and point, or job and calibration
    to_do: str  # The one thing to do now
    missing: tuple[Sector, ...] = ()  # What is still wanted of the horizon, the next part first
    figures: tuple[Figure, ...] = ()  # The largest on any display
    warnings: tuple[Caution, ...] = ()  # The most pressing first; it goes before `to_do`
    board: str = ""  # What is wrong with the board; stands in the first line
    # Where the sight points; NaN where that is not known. [deg]
    azimuth_deg: float = math.nan
    elevation_deg: float = math.nan
    horizon: HorizonSoFar | None = None
    facts: tuple[str, ...] = ()  # Further lines, the weightier first
    short: str = ""  # The answer so far in a few words, for a display of one line
    phase: str = "recording"  # recording, paused, waiting (for the trigger), asking or ended
    elapsed_s: float = 0.0  # Since the start of this recording. [s]
    counts: Counts = Counts()
    keys: str = ""  # Which keys do what
    allowed: str = ""  # The keys that mean something now
    point: str = ""  # Being swept
    prompt: str = ""  # What the keyboard is asked; takes the keys' place
    message: str = ""  # The last thing that happened
    panel: tuple[str, ...] = ()  # Between two recordings, what is to be known of the one before
    question: Question | None = None  # Put between two recordings; `to_do` are its words
    middle_deg: float = 180.0  # Azimuth that stands in the middle of the horizon. [deg]

    def through(self, door: Callable[[str], str]) -> LiveState:
        """The same with every text from outside taken through a door."""
        texts = {one.name: getattr(self, one.name) for one in fields(self)}
        new: dict[str, Any] = {n: door(v) for n, v in texts.items() if isinstance(v, str)}
        new |= {name: tuple(map(door, texts[name])) for name in ("facts", "panel")}
        cautions = (replace(one, words=door(one.words)) for one in self.warnings)
        return replace(self, warnings=tuple(cautions), **new)

    @property
    def first(self) -> str:
        """What the operator must know or do before anything else."""
        return self.warnings[0].words if self.warnings else self.to_do
