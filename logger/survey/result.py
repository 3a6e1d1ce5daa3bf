"""A point's answer, with what it came from, and its documented form."""

from __future__ import annotations

from collections import Counter
from dataclasses import asdict, dataclass
from typing import Any

from logger import __version__
from logger.access import AccessResult
from logger.calibration import Chosen, ClosingTarget
from logger.checks import Check
from logger.horizon import HorizonProfile
from logger.horizon_fit import HorizonResult
from logger.orientation import Declination
from logger.recording import Recording
from logger.recording.samples import Stream
from logger.site import Site
from logger.survey.compare import best_plane
from logger.survey.recipe import Recipe

SCHEMA = "horizon-logger result 2"


@dataclass(frozen=True, eq=False)
class Sweep:
    """One recording of a point, read and decoded."""

    recording: Recording
    stream: Stream


@dataclass(frozen=True, eq=False, kw_only=True)
class SweptPoint:
    """A point's horizon with what it came from, before anything is asked of the sun."""

    sweeps: tuple[Sweep, ...]  # One a recording, or one a board where it was changed in one
    chosen: tuple[Chosen, ...]  # Corrections and the calibrations they come from, one a sweep
    closing_targets: tuple[ClosingTarget, ...]  # What the closing target says of each sweep
    horizon: HorizonResult
    checks: tuple[Check, ...]  # Of all but the horizon, which has its own


@dataclass(frozen=True, eq=False, kw_only=True)
class PointResult(SweptPoint):
    """A point's answer; the checks are all there are."""

    name: str
    access: AccessResult
    recipe: Recipe
    begun: tuple[Recording, ...] = ()  # See `PointSetup`

    @property
    def site(self) -> Site:
        """Where it is."""
        return self.recipe.site

    @property
    def recordings(self) -> tuple[Recording, ...]:
        """Each once, with those that are left out because they hold nothing."""
        found = {s.recording.path: s.recording for s in self.sweeps}
        return (*found.values(), *self.begun)

    @property
    def declination(self) -> Declination:
        """Of the first sweep; all sweeps of one point share site and season."""
        return self.chosen[0].corrections.declination

    def as_dict(self) -> dict[str, Any]:
        """The documented result, ``horizon-logger result 2``."""
        access = self.access.as_dict()
        best = best_plane(self.access)
        return {
            "schema": SCHEMA,
            "program": f"horizon-logger {__version__}",
            "point": self.name,
            "site": access["site"],
            "sky": access["sky"],
            "declination": self.declination.as_dict(),
            **self._counts(),
            "recordings": [
                {
                    "file": recording.path.name,
                    "sha256": recording.sha256,
                    "sealed": recording.sealed,
                    "problems": list(recording.problems),
                }
                for recording in self.recordings
            ],
            "calibrations": [
                {
                    "recording": sweep.recording.path.name,
                    "used": [
                        {"file": used.file, "kind": used.kind, "figures": used.figures}
                        for used in chosen.used
                    ],
                    "closing_target": closing.figures(),
                }
                for sweep, chosen, closing in zip(
                    self.sweeps, self.chosen, self.closing_targets, strict=True
                )
            ],
            "quality": [check.as_dict() for check in self.checks],
            "horizon": _horizon_dict(self.horizon.profile),
            **{key: value for key, value in access.items() if key not in ("site", "schema")},
            "best_plane": best and best.as_dict(),
            "settings": asdict(self.recipe.settings),
        }

    def _counts(self) -> dict[str, Any]:
        """Samples and sentences: how many, how many used, and why not the others."""
        sight = self.horizon.sight
        return {
            "samples": {
                "read": sum(len(one) for one in sight),
                "used": sum(int(one.used.sum()) for one in sight),
                "rejected": sum((Counter(one.rejected()) for one in sight), Counter[str]()),
            },
            "sentences": {
                "refused": sum((Counter(s.stream.refused) for s in self.sweeps), Counter[str]()),
                "lost": sum(s.stream.lost for s in self.sweeps),
            },
        }


def _horizon_dict(profile: HorizonProfile) -> dict[str, Any]:
    return {
        "azimuth_deg": profile.azimuth_deg,
        "elevation_deg": profile.elevation_deg,
        "standard_error_deg": profile.standard_error_deg,
        "measured": profile.known,
        "heading_error_deg": profile.heading_error_deg,
        "level_error_deg": profile.level_error_deg,
        "rise_m": profile.rise_m,
        "leaf_seen": list(profile.leaf_seen),
        "obstructions": list(profile.obstructions),
        "steps": list(profile.steps),
    }
