"""Follow a capture: direction of the sight now, what is covered, how near the sun is."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace

import numpy as np

from firmware_protocol import Key, Piece, Sound
from logger.acquisition import StreamBuilder
from logger.columns import Floats
from logger.horizon import Coverage, HorizonSettings, Pass, horizon_from
from logger.orientation import Corrections, OrientationSettings, sight_lines
from logger.rotation import unit_vector
from logger.sightlines import SightLines, joined
from logger.site import Site
from logger.sun import sun_track

SUN_WARNING_DEG = 25.0
"""Sight lines this near to the sun bring the eye into danger. [deg]"""

TRIGGER, MARK = 1, 2
_SPEED_OVER_S = 0.5
_COVERAGE_EVERY_S = 1.0


@dataclass(frozen=True)
class LiveView:
    """What is shown of this moment; NaN where nothing is known yet.

    Parameters
    ----------
    elapsed_s : float
        [s]
    azimuth_deg, elevation_deg, lean_deg : float
        Of the sight: true azimuth, elevation, rotation about the sight. [deg]
    speed_deg_s : float
        Of the sight over the sky. [deg/s]
    rate_hz : float
        Samples a second, of late. [Hz]
    samples, lost, damaged : int
        So far: taken, missing by the board's count, refused.
    silent_s : float
        Since the last sound sentence. [s]
    sun_deg : float
        From the sight to the sun; NaN with the sun below the level plane. [deg]
    covered : float
        Share of the sun-crossed circle that was seen, 0 to 1.
    guidance : str
        What is still to do; empty when nothing is.
    """

    elapsed_s: float
    azimuth_deg: float
    elevation_deg: float
    lean_deg: float
    speed_deg_s: float
    rate_hz: float
    samples: int
    lost: int
    damaged: int
    silent_s: float
    sun_deg: float
    covered: float
    guidance: str

    @property
    def sun_near(self) -> bool:
        """The sight is within 25 degrees of the sun."""
        return self.sun_deg < SUN_WARNING_DEG


class LiveSession:
    """Turns each new row into a sight line once, and sums up.

    Parameters
    ----------
    builder : StreamBuilder
        The capture's.
    corrections : Corrections
    site : Site
    started : datetime
        UTC of the recording's start.
    """

    def __init__(
        self, builder: StreamBuilder, corrections: Corrections, site: Site, started: dt.datetime
    ) -> None:
        self._builder = builder
        self._corrections = corrections
        self._site = site
        self._started = started
        self._settings = HorizonSettings(latitude_deg=site.latitude_deg)
        # The whole-recording estimate waits for the end; on screen, each row stands for itself.
        self._orientation = OrientationSettings(use_rate=False)
        self._sights: list[SightLines] = []
        self._rows = 0
        self._coverage: tuple[float, Coverage] | None = None
        self.trigger_pressed = False
        self.marks = 0

    def take(self, pieces: list[Piece]) -> None:
        """Look at what just came for the board's keys.

        Parameters
        ----------
        pieces : list
            From `Capture.step`.
        """
        for piece in pieces:
            if isinstance(piece, Sound) and isinstance(piece.sentence, Key) and piece.sentence.down:
                self.trigger_pressed |= piece.sentence.key == TRIGGER
                self.marks += piece.sentence.key == MARK

    def sight(self) -> SightLines | None:
        """All sight lines so far; None before the first."""
        # The last row may still be waiting for another sentence of its instant.
        ready = len(self._builder) - 1
        if ready > self._rows:
            samples = self._builder.samples(self._rows, ready)
            self._sights.append(sight_lines(samples, self._corrections, self._orientation))
            self._rows = ready
        if len(self._sights) > 1:
            self._sights = [joined(self._sights)]
        return self._sights[0] if self._sights else None

    def coverage(self, now_s: float, sight: SightLines) -> Coverage:
        """What the sweep has seen so far, at most a second old.

        Parameters
        ----------
        now_s : float
            [s]
        sight : SightLines
        """
        if self._coverage is None or now_s - self._coverage[0] > _COVERAGE_EVERY_S:
            found = horizon_from([Pass(sight)], self._settings).coverage
            self._coverage = (now_s, found)
        return self._coverage[1]

    def view(self, now_s: float, latest_s: float) -> LiveView:
        """Sum up this moment.

        Parameters
        ----------
        now_s : float
            Since the start of the recording. [s]
        latest_s : float
            When the last sound sentence came. [s]
        """
        view = LiveView(
            elapsed_s=now_s,
            azimuth_deg=np.nan,
            elevation_deg=np.nan,
            lean_deg=np.nan,
            speed_deg_s=np.nan,
            rate_hz=0.0,
            samples=len(self._builder),
            lost=self._builder.lost,
            damaged=sum(self._builder.refused.values()),
            silent_s=now_s - latest_s,
            sun_deg=np.nan,
            covered=0.0,
            guidance="",
        )
        sight = self.sight()
        if sight is None:
            return view
        recent = sight.rows(sight.t_s > sight.t_s[-1] - _SPEED_OVER_S)
        direction = unit_vector(recent.azimuth_deg, recent.elevation_deg)
        span = float(recent.t_s[-1] - recent.t_s[0])
        turn = np.degrees(np.arccos(np.clip((direction[0] * direction[-1]).sum(), -1, 1)))
        coverage = self.coverage(now_s, sight)
        crossed = coverage.sun_crossed
        return replace(
            view,
            azimuth_deg=float(sight.azimuth_deg[-1]),
            elevation_deg=float(sight.elevation_deg[-1]),
            lean_deg=float(sight.tilt_deg[-1]),
            speed_deg_s=float(turn / span) if span > 0 else np.nan,
            rate_hz=(len(recent) - 1) / span if span > 0 else 0.0,
            sun_deg=self._sun_deg(now_s, direction[-1]),
            covered=float((coverage.passes[crossed] > 0).mean()) if crossed.any() else 1.0,
            guidance=coverage.guidance(),
        )

    def _sun_deg(self, now_s: float, sight: Floats) -> float:
        moment = self._started + dt.timedelta(seconds=now_s)
        when = np.array([moment.astimezone(dt.UTC).replace(tzinfo=None)], dtype="datetime64[ns]")
        sun = sun_track(when, self._site)
        if not sun.elevation_deg[0] > 0:
            return float("nan")
        towards = unit_vector(sun.azimuth_deg, sun.elevation_deg)[0]
        return float(np.degrees(np.arccos(np.clip(sight @ towards, -1, 1))))
