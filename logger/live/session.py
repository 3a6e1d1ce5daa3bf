"""Follow a capture: where the sight points, how steadily, what was seen, how near the sun is."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from firmware_protocol import PRESS_KEY, TRIGGER_KEY, Key, Piece, Sound
from logger.arrays import Floats
from logger.geometry import unit_vector, unwrapped
from logger.horizon_fit import Coverage, SightedSweep, turning_points, vertices_of
from logger.live.running import RunningAnswer
from logger.live.steady import Steadier
from logger.live.tremor import TREMOR_LIMIT_DEG, tremor_deg
from logger.orientation import Corrections, sight_lines
from logger.orientation.sight_lines import SightLines, joined
from logger.recording import StreamBuilder
from logger.recording.samples import KeyPress, Samples
from logger.settings import Settings
from logger.site import Site
from logger.sun import sun_track

SUN_WARNING_DEG = 25.0
"""Sight lines this near to the sun bring the eye into danger. [deg]"""

LONG_PRESS_S = 1.5
"""The board's mark key held down this long means: redo. [s]"""

SILENT_S = 2.0
"""Without a measurement for longer something is wrong. [s]"""

_RECENT_S = 5.0
_SPEED_OVER_S = 0.5
_SUN_EVERY_S = 5.0
_HOLD_SETTLES_S = 0.7
_OFTEN_S = 2.0
_KEPT_PARTS = 100


@dataclass(frozen=True)
class FieldState:
    """The magnetic field of the last second against the compass calibration."""

    # As a share of the calibration's strength, signed; NaN without calibration
    strength_off: float = float("nan")
    dip_off_deg: float = float("nan")  # Signed. [deg]
    # Past the first and past the second limit of the field watch
    flagged: bool = False
    rejected: bool = False


@dataclass(frozen=True, eq=False)
class LiveView:
    """What is shown of this moment; NaN where nothing is known yet."""

    elapsed_s: float  # Since the start of the recording. [s]
    # Of the sight: true azimuth, elevation, rotation about the sight. [deg]
    azimuth_deg: float = float("nan")
    elevation_deg: float = float("nan")
    lean_deg: float = float("nan")
    speed_deg_s: float = float("nan")  # Of the sight over the sky. [deg/s]
    tremor_deg: float = float("nan")  # RMS. [deg]
    rate_hz: float = 0.0  # Samples a second, of late. [Hz]
    # So far: taken, missing by the board's count, refused
    samples: int = 0
    lost: int = 0
    damaged: int = 0
    silent_s: float = 0.0  # Since the last sound sentence. [s]
    # What came in place of any measurement, in words; empty for nothing, or once there is one
    instead: str = ""
    # From the sight to the sun; NaN with the sun below the level plane. [deg]
    sun_deg: float = float("nan")
    sun: tuple[float, float] | None = None  # Azimuth and elevation of the sun where it is up. [deg]
    field: FieldState = field(default_factory=FieldState)
    # Mark keys pressed; those of them that ended a still hold
    marks: int = 0
    held: int = 0
    running: RunningAnswer | None = None
    newest_seq: int = -1  # The wire's counter of the newest sample shown; -1 for none

    @property
    def nothing(self) -> str:
        """What is wrong where no measurement comes; empty where all is well."""
        if self.instead and self.elapsed_s > SILENT_S:
            return self.instead
        if self.silent_s > SILENT_S:
            return f"nothing from the board for {self.silent_s:.0f} s"
        return ""

    @property
    def sun_near(self) -> bool:
        """The sight is within 25 degrees of the sun."""
        return self.sun_deg < SUN_WARNING_DEG

    @property
    def shaking(self) -> bool:
        """The sight shakes more than a sweep can bear."""
        return self.tremor_deg > TREMOR_LIMIT_DEG

    @property
    def coverage(self) -> Coverage | None:
        """What was seen so far, earlier recordings of the point included."""
        return self.running.horizon.coverage if self.running else None


@dataclass(frozen=True)
class Press:
    """One press of the board's mark key, or of the keyboard's."""

    t_s: float  # [s]
    still: bool | None = None  # Whether it ended a still hold; None while that is not yet known


class LiveSession:
    """Turns each new row into a sight line once, and sums up."""

    def __init__(
        self,
        builder: StreamBuilder,
        corrections: Corrections,
        site: Site,
        started: dt.datetime,
        earlier: Sequence[SightedSweep] = (),
    ) -> None:
        self.started = started
        self.earlier = tuple(earlier)
        self.triggers = 0
        self.redo_asked = False
        self.presses: list[Press] = []
        self.dropped: list[tuple[float, float]] = []
        self.judged: list[bool] = []
        self._builder = builder
        self._site = site
        # The whole-recording estimate waits for the end; on screen, each row stands for itself.
        self._orientation = Settings(use_gyro=False)
        self._parts: list[SightLines] = []
        self._raw: list[Samples] = []
        self._rows = 0
        self._mark_down_ms: int | None = None
        self._sun: tuple[float, tuple[float, float] | None] = (-np.inf, None)
        self.correct_with(corrections)

    def correct_with(self, corrections: Corrections) -> None:
        """Take other corrections from here on, as when the board has said which it is."""
        self.corrections = corrections
        compass = corrections.compass
        bias = compass.rate_bias_deg_s if compass else None
        self._steadier = Steadier(
            np.array(compass.hard_iron_ut if compass else (0.0, 0.0, 0.0)),
            None if bias is None else np.array(bias),
        )

    def take(self, pieces: list[Piece], now_s: float) -> None:
        """Look at what just came for the board's keys."""
        for piece in pieces:
            if isinstance(piece, Sound) and isinstance(piece.sentence, Key):
                self._key(piece.sentence, now_s)

    def _key(self, key: Key, now_s: float) -> None:
        if key.key == TRIGGER_KEY:
            self.triggers += key.down
        elif key.key == PRESS_KEY and key.down:
            self._mark_down_ms = key.t_ms
            self.mark(now_s)
        elif key.key == PRESS_KEY and self._mark_down_ms is not None:
            down_s = (key.t_ms - self._mark_down_ms) % 2**32 / 1000.0
            self.redo_asked |= LONG_PRESS_S <= down_s < 60.0
            self._mark_down_ms = None

    def mark(self, now_s: float) -> None:
        """A mark was pressed, on the board or on the keyboard."""
        self.presses.append(Press(now_s))

    def redo(self, now_s: float) -> tuple[float, float]:
        """Drop the stretch just swept: since the start, the last mark, turn or redo."""
        starts = [0.0, *(b for _, b in self.dropped)]
        starts += [p.t_s for p in self.presses if p.t_s < now_s - LONG_PRESS_S - 0.5]
        sight = joined(self._parts) if self._parts else None
        if sight is not None and sight.used.any():
            row = np.flatnonzero(sight.used & (sight.t_s > max(starts)))
            if row.size > 1:
                path = unwrapped(sight.azimuth_deg[row])
                turns = turning_points(path)
                starts += [float(sight.t_s[row[i]]) for i in turns]
        span = (max(starts), now_s)
        self.dropped.append(span)
        return span

    def advance(self) -> None:
        """Turn the rows that have come into sight lines."""
        # The last row may still be waiting for another sentence of its instant.
        ready = len(self._builder) - 1
        if ready <= self._rows:
            return
        samples = self._builder.samples(self._rows, ready)
        # Each batch joins the clocks for itself: the joint must not run backwards.
        t_s = np.maximum(samples.t_s, self._raw[-1].t_s[-1]) if self._raw else samples.t_s
        samples = self._steadier.take(replace(samples, t_s=t_s))
        self._parts.append(sight_lines(samples, self.corrections, self._orientation))
        self._raw.append(samples)
        self._rows = ready
        while len(self._raw) > 1 and self._raw[1].t_s[0] < samples.t_s[-1] - _RECENT_S:
            self._raw.pop(0)

    def passes(self) -> list[SightedSweep]:
        """The point's recordings so far, this one last; safe to call from another thread."""
        parts, dropped = list(self._parts), list(self.dropped)
        if not parts:
            return list(self.earlier)
        sight = joined(parts)
        if len(parts) > 3 * _KEPT_PARTS:
            # Only this thread shortens the list; the capture's only appends to it.
            old = len(parts) - _KEPT_PARTS
            self._parts[:old] = [joined(parts[:old])]
        for start, end in dropped:
            sight = sight.without((sight.t_s >= start) & (sight.t_s <= end), "swept again")
        keys = tuple(KeyPress(p.t_s, PRESS_KEY, True) for p in list(self.presses))
        return [*self.earlier, SightedSweep(sight, keys)]

    def recent(self) -> SightLines | None:
        """The sight lines of the last seconds; None before the first."""
        parts = list(self._parts)
        if not parts:
            return None
        end = parts[-1].t_s[-1]
        first = len(parts) - 1
        while first > 0 and parts[first - 1].t_s[-1] > end - _RECENT_S:
            first -= 1
        sight = joined(parts[first:])
        return sight.rows(sight.t_s > end - _RECENT_S)

    def judge_holds(self, now_s: float) -> list[bool]:
        """Of marks pressed a moment ago, whether each ended a still hold; once a press."""
        found: list[bool] = []
        for i, press in enumerate(self.presses):
            if press.still is None and now_s - press.t_s > _HOLD_SETTLES_S:
                sight = self.recent()
                key = KeyPress(press.t_s, PRESS_KEY, True)
                still = sight is not None and bool(vertices_of(sight, [key]))
                self.presses[i] = Press(press.t_s, still)
                found.append(still)
        return found

    def view(
        self,
        now_s: float,
        latest_s: float,
        running: RunningAnswer | None = None,
        instead: str = "",
    ) -> LiveView:
        """Sum up this moment."""
        self.advance()
        sun = self._sun_now(now_s)
        view = LiveView(
            elapsed_s=now_s,
            samples=len(self._builder),
            lost=self._builder.lost,
            damaged=sum(self._builder.refused.values()),
            silent_s=now_s - latest_s,
            instead=instead,
            sun=sun,
            marks=len(self.presses),
            held=sum(press.still is True for press in self.presses),
            running=running,
        )
        sight = self.recent()
        if sight is None:
            return view
        late = sight.rows(sight.t_s > sight.t_s[-1] - _SPEED_OVER_S)
        direction = unit_vector(late.azimuth_deg, late.elevation_deg)
        span = float(late.t_s[-1] - late.t_s[0])
        often = self._raw[-1].t_s[-1] - _OFTEN_S
        received = np.concatenate([raw.received_s for raw in self._raw if raw.t_s[-1] > often])
        received = received[received > often]
        return replace(
            view,
            azimuth_deg=float(sight.azimuth_deg[-1]),
            elevation_deg=float(sight.elevation_deg[-1]),
            lean_deg=float(sight.roll_deg[-1]),
            speed_deg_s=_between_deg(direction[0], direction[-1]) / span if span > 0 else np.nan,
            tremor_deg=tremor_deg(sight),
            rate_hz=received.size / min(_OFTEN_S, max(now_s, 0.1)),
            sun_deg=_between_deg(direction[-1], unit_vector(*sun)) if sun else np.nan,
            field=self._field_now(),
            newest_seq=int(self._raw[-1].seq[-1]),
        )

    def _field_now(self) -> FieldState:
        compass = self.corrections.compass
        if compass is None:
            return FieldState()
        end = self._raw[-1].t_s[-1]
        rows = [s.rows(s.has_field & (s.t_s > end - 1.0)) for s in self._raw if s.t_s[-1] > end - 1]
        if not any(len(r) for r in rows):
            return FieldState()
        magnetic = compass.corrected_field(np.concatenate([r.field_ut for r in rows]))
        force = compass.corrected_force(np.concatenate([r.force_g for r in rows]))
        size = np.linalg.norm(magnetic, axis=1)
        down = -(magnetic * force).sum(axis=1) / np.maximum(np.linalg.norm(force, axis=1), 1e-9)
        dip = np.degrees(np.arcsin(np.clip(down / np.maximum(size, 1e-9), -1.0, 1.0)))
        strength_off = float(np.median(size)) / compass.field_ut - 1.0
        dip_off = float(np.median(dip)) - compass.dip_deg
        limits = self._orientation

        def past(share: float, angle_deg: float) -> bool:
            return abs(strength_off) > share or abs(dip_off) > angle_deg

        return FieldState(
            strength_off,
            dip_off,
            past(limits.disturbance_share / 2, limits.disturbance_dip_deg / 2),
            past(limits.disturbance_share, limits.disturbance_dip_deg),
        )

    def _sun_now(self, now_s: float) -> tuple[float, float] | None:
        """Azimuth and elevation of the sun, at most a few seconds old; None below the level."""
        if now_s - self._sun[0] > _SUN_EVERY_S:
            moment = self.started + dt.timedelta(seconds=now_s)
            when = np.array([moment.astimezone(dt.UTC).replace(tzinfo=None)], "datetime64[ns]")
            track = sun_track(when, self._site)
            up = bool(track.elevation_deg[0] > 0)
            here = (float(track.azimuth_deg[0]), float(track.elevation_deg[0])) if up else None
            self._sun = (now_s, here)
        return self._sun[1]


def _between_deg(one: Floats, other: Floats) -> float:
    """Angle between two unit vectors. [deg]"""
    return float(np.degrees(np.arccos(np.clip(one @ other, -1.0, 1.0))))
