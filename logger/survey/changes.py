"""A new result beside the stored one: what differs, and by how much."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from logger.arrays import floats
from logger.horizon import HorizonProfile
from logger.settings import written

SAME = 5e-10  # Results are stored with ten decimals
LOOK_EVERY_DEG = 0.5

MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


@dataclass(frozen=True)
class Was:
    """Something by name, in the stored result and now."""

    name: str
    stored: Any
    now: Any


@dataclass(frozen=True)
class FigureChange:
    """One figure of a plane, stored and now; NaN where not defined."""

    plane: str
    figure: str
    unit: str
    stored: float
    now: float

    @property
    def by(self) -> float:
        """Now less stored."""
        return self.now - self.stored

    @property
    def differs(self) -> bool:
        """Whether it moved, or is defined in one of the two only."""
        return math.isnan(self.stored) != math.isnan(self.now) or abs(self.by) > SAME


@dataclass(frozen=True)
class Moved:
    """How far the horizon moved."""

    # The largest change of its elevation where both have one; NaN where neither does. [deg]
    largest_deg: float
    at_azimuth_deg: float
    measured_deg: float  # Measured azimuth now less before. [deg]


@dataclass(frozen=True)
class Changes:
    """A stored result and a new one."""

    settings: tuple[Was, ...]  # Settings and inputs that differ
    figures: tuple[FigureChange, ...]  # Every figure that both have
    horizon: Moved
    checks: tuple[Was, ...]  # Checks that passed before and fail now, or the other way
    planes: tuple[str, ...]  # What can be said of planes that only one of the two has

    @property
    def nothing(self) -> bool:
        """Whether the two are alike."""
        still = self.horizon.measured_deg == 0 and not self.horizon.largest_deg > 1e-6
        return still and not (
            self.settings or self.checks or self.planes or any(f.differs for f in self.figures)
        )

    @property
    def largest(self) -> FigureChange | None:
        """The annual solar access that moved most; None where no plane is in both."""
        annual = [f for f in self.figures if f.figure == "solar access, year"]
        known = [f for f in annual if not math.isnan(f.by)]
        return max(known, key=lambda f: abs(f.by), default=None)


def changes_between(stored: Mapping[str, Any], now: Mapping[str, Any]) -> Changes:
    """Hold a new result against the stored one."""
    before, after = ({p["name"]: p for p in d["planes"]} for d in (stored, now))
    only_one = [f"{name}: not in the stored result" for name in after if name not in before]
    only_one += [f"{name}: only in the stored result" for name in before if name not in after]
    both = [(name, before[name], after[name]) for name in after if name in before]
    for name, *pair in both:
        was, is_now = (f"tilt {p['tilt_deg']:g}°, azimuth {p['azimuth_deg']:g}°" for p in pair)
        only_one += [f"{name}: {was} stored; {is_now} now"] if was != is_now else []
    return Changes(
        (*_differing(_settings(stored), _settings(now)), *_differing(_made(stored), _made(now))),
        tuple(
            FigureChange(name, figure, unit, was, is_now)
            for name, old, new in both
            for (figure, unit, was), (_, _, is_now) in zip(
                _figures(old), _figures(new), strict=True
            )
        ),
        _moved(_profile(stored), _profile(now)),
        tuple(_differing(_passed(stored), _passed(now))),
        tuple(only_one),
    )


def _differing(stored: Mapping[str, Any], now: Mapping[str, Any]) -> Iterator[Was]:
    """What both have and tell otherwise."""
    for name, value in now.items():
        if name in stored and stored[name] != value:
            yield Was(name, stored[name], value)


def _figures(plane: Mapping[str, Any]) -> Iterator[tuple[str, str, float]]:
    """Every figure of a plane that is held against another: its name, its unit and itself."""
    access, clear = plane["solar_access"], plane["window"]["monthly_clear_fraction"]
    resource = plane["total_solar_resource_fraction"]["value"]
    for figure, unit, value in (
        ("solar access, year", "1", access["annual"]["value"]),
        *(
            (f"solar access, {month}", "1", share["value"])
            for month, share in zip(MONTHS, access["monthly"], strict=True)
        ),
        ("beam access, year", "1", plane["beam_access"]["annual"]["value"]),
        ("total solar resource fraction", "1", resource),
        ("loss, year", "kWh/m2", plane["loss"]["annual_kwh_per_m2"]),
        ("window clear, worst month", "1", min((c for c in clear if c is not None), default=None)),
    ):
        yield figure, unit, math.nan if value is None else float(value)


def _profile(document: Mapping[str, Any]) -> HorizonProfile:
    horizon = document["horizon"]
    elevation = [math.nan if v is None else v for v in horizon["elevation_deg"]]
    measured = np.array(horizon["measured"], dtype=bool)
    return HorizonProfile(floats(horizon["azimuth_deg"]), floats(elevation), measured=measured)


def _moved(stored: HorizonProfile, now: HorizonProfile) -> Moved:
    at = np.arange(0.0, 360.0, LOOK_EVERY_DEG)
    seen = [np.asarray(p.measured_at(at), dtype=bool) for p in (stored, now)]
    measured = float(seen[1].sum() - seen[0].sum()) * LOOK_EVERY_DEG
    both = at[seen[0] & seen[1]]
    if not both.size:
        return Moved(math.nan, math.nan, measured)
    moved = np.abs(now.elevation_at(both) - stored.elevation_at(both))
    largest = int(np.argmax(moved))
    return Moved(float(moved[largest]), float(both[largest]), measured)


def _settings(document: Mapping[str, Any]) -> dict[str, str]:
    return {
        name: written(tuple(value) if isinstance(value, list) else value)
        for name, value in document["settings"].items()
    }


def _made(document: Mapping[str, Any]) -> dict[str, str]:
    """What a result was made of, beside settings."""
    turn = document["declination"]
    used = {str(u["file"]) for c in document["calibrations"] for u in c["used"]}
    recordings = [f"{r['file']} ({str(r['sha256'])[:8]})" for r in document["recordings"]]
    return {
        "program": document["program"],
        "site": ", ".join(f"{v:g}" for v in document["site"].values()),
        "sky": document["sky"]["source"],
        "declination": f"{turn['value_deg']:+.2f}° ({turn['source']})",
        "recordings": ", ".join(recordings),
        "calibrations": ", ".join(sorted(used)) or "none",
    }


def _passed(document: Mapping[str, Any]) -> dict[str, bool]:
    found: dict[str, bool] = {}
    for check in document["quality"]:
        found[check["check"]] = found.get(check["check"], True) and bool(check["passed"])
    return found


def with_changes(
    document: Mapping[str, Any], before: Mapping[str, Any] | None
) -> Mapping[str, Any]:
    """A result with what changed against the stored one, if anything did."""
    if before is None or (changes := changes_between(before, document)).nothing:
        return document
    return {**document, "changes": asdict(changes)}
