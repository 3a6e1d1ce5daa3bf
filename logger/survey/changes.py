"""A new result beside the stored one: which settings differ, and what that changed by how much."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from logger.checks import NORMAL_95
from logger.horizon import HorizonProfile
from logger.settings import written
from logger.survey.compare import Difference, Triple, difference, triple

SAME = 5e-10
"""Results are stored with ten decimals."""

LOOK_EVERY_DEG = 0.5

MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


@dataclass(frozen=True)
class FigureChange:
    """One figure, stored and now."""

    plane: str
    figure: str
    unit: str
    # Value, low and high; NaN where not defined, low and high also where not known
    stored: Triple
    now: Triple
    gap: Difference  # Now less stored

    @property
    def differs(self) -> bool:
        """Whether the value itself moved."""
        one, other = self.stored[0], self.now[0]
        if math.isnan(one) or math.isnan(other):
            return math.isnan(one) != math.isnan(other)
        return abs(one - other) > SAME

    def as_dict(self) -> dict[str, Any]:
        """The form of the ``figures`` list of a result's ``changes``."""

        def bounded(three: Triple) -> dict[str, float]:
            return dict(zip(("value", "low", "high"), three, strict=True))

        return {
            "plane": self.plane,
            "figure": self.figure,
            "unit": self.unit,
            "stored": bounded(self.stored),
            "now": bounded(self.now),
            "difference": bounded((self.gap.value, self.gap.low, self.gap.high)),
            "significant": self.gap.significant,
        }


@dataclass(frozen=True)
class SkylineChange:
    """How far the skyline moved."""

    # Of the elevation's absolute change, where both have one; NaN where neither does. [deg]
    mean_deg: float
    largest_deg: float
    at_azimuth_deg: float  # Of the largest. [deg]
    beyond_deg: float  # Azimuth over which it moved by more than the uncertainty. [deg]
    measured_deg: float  # Measured azimuth now less before. [deg]


@dataclass(frozen=True)
class Changes:
    """A stored result and a new one."""

    # Name, stored and now, of what differs in how the results came about
    settings: tuple[tuple[str, str, str], ...]
    figures: tuple[FigureChange, ...]  # Every figure that both have
    skyline: SkylineChange
    # Checks that passed before and fail now, or the other way: name, passed before, now
    checks: tuple[tuple[str, bool, bool], ...]
    planes: tuple[str, ...]  # What can be said of planes that only one of the two has

    @property
    def nothing(self) -> bool:
        """Whether the two are alike."""
        still = self.skyline.measured_deg == 0 and not self.skyline.largest_deg > 1e-6
        return still and not (
            self.settings or self.checks or self.planes or any(f.differs for f in self.figures)
        )

    @property
    def largest(self) -> FigureChange | None:
        """The annual solar access that moved most; None where no plane is in both."""
        annual = [f for f in self.figures if f.figure == "solar access, year"]
        known = [f for f in annual if not math.isnan(f.gap.value)]
        return max(known, key=lambda f: abs(f.gap.value), default=None)

    def as_dict(self) -> dict[str, Any]:
        """The form of a result's ``changes``."""
        return {
            "settings": [{"name": n, "stored": a, "now": b} for n, a, b in self.settings],
            "figures": [figure.as_dict() for figure in self.figures],
            "skyline": self.skyline,
            "checks": [
                {"check": n, "passed_stored": a, "passed_now": b} for n, a, b in self.checks
            ],
            "planes": list(self.planes),
        }


def changes_between(stored: Mapping[str, Any], now: Mapping[str, Any]) -> Changes:
    """Hold a new result against the stored one."""
    before, after = ({p["name"]: p for p in d["planes"]} for d in (stored, now))
    only_one = [f"{name}: not in the stored result" for name in after if name not in before]
    only_one += [f"{name}: only in the stored result" for name in before if name not in after]
    for name in (n for n in after if n in before):
        was, is_now = ((p[name]["tilt_deg"], p[name]["azimuth_deg"]) for p in (before, after))
        if was != is_now:
            only_one.append(
                f"{name}: tilt {was[0]:g}°, azimuth {was[1]:g}° stored; "
                f"tilt {is_now[0]:g}°, azimuth {is_now[1]:g}° now"
            )
    return Changes(
        (*_settings_changed(stored, now), *_inputs_changed(stored, now)),
        tuple(
            FigureChange(name, figure, unit, was, is_now, difference(is_now, was))
            for name in after
            if name in before
            for (figure, unit, was), (_, _, is_now) in zip(
                _figures(before[name]), _figures(after[name]), strict=True
            )
        ),
        _skyline_change(_profile(stored), _profile(now)),
        tuple(_checks_changed(stored, now)),
        tuple(only_one),
    )


def _figures(plane: Mapping[str, Any]) -> Iterator[tuple[str, str, Triple]]:
    """Every figure of a plane that is held against another: its name, its unit and itself."""
    access = plane["solar_access"]
    yield "solar access, year", "1", triple(access["annual"])
    for month, share in zip(MONTHS, access["monthly"], strict=True):
        yield f"solar access, {month}", "1", triple(share)
    yield "beam access, year", "1", triple(plane["beam_access"]["annual"])
    resource = "total_solar_resource_fraction"
    yield resource.replace("_", " "), "1", triple(plane[resource])
    clear = [c for c in plane["window"]["monthly_clear_fraction"] if c is not None]
    for name, unit, number in (
        ("loss, year", "kWh/m2", plane["loss"]["annual_kwh_per_m2"]),
        ("window clear, worst month", "1", min(clear, default=None)),
    ):
        yield name, unit, (math.nan if number is None else number, math.nan, math.nan)


def _profile(document: Mapping[str, Any]) -> HorizonProfile:
    horizon = document["horizon"]

    def column(name: str) -> Any:
        return np.array([math.nan if v is None else v for v in horizon[name]], dtype=float)

    return HorizonProfile(
        column("azimuth_deg"),
        column("elevation_deg"),
        np.nan_to_num(column("standard_error_deg")),
        np.array(horizon["measured"], dtype=bool),
        heading_error_deg=float(horizon.get("heading_error_deg") or 0.0),
        level_error_deg=float(horizon.get("level_error_deg") or 0.0),
    )


def _skyline_change(stored: HorizonProfile, now: HorizonProfile) -> SkylineChange:
    at = np.arange(0.0, 360.0, LOOK_EVERY_DEG)
    seen = [np.asarray(p.measured_at(at), dtype=bool) for p in (stored, now)]
    measured = float(seen[1].sum() - seen[0].sum()) * LOOK_EVERY_DEG
    both = at[seen[0] & seen[1]]
    if not both.size:
        return SkylineChange(math.nan, math.nan, math.nan, 0.0, measured)
    moved = np.abs(now.elevation_at(both) - stored.elevation_at(both))
    spread = np.hypot(_sigma(stored, both), _sigma(now, both))
    largest = int(np.argmax(moved))
    return SkylineChange(
        float(moved.mean()),
        float(moved[largest]),
        float(both[largest]),
        float((moved > np.maximum(NORMAL_95 * spread, SAME)).sum()) * LOOK_EVERY_DEG,
        measured,
    )


def _sigma(profile: HorizonProfile, at: Any) -> Any:
    """Of the elevation at an azimuth: its own error, the level's, and the heading's on a slope."""
    assert profile.standard_error_deg is not None
    own = HorizonProfile(profile.azimuth_deg, profile.standard_error_deg).elevation_at(at)
    turn = profile.heading_error_deg
    slope = np.abs(profile.elevation_at(at + turn) - profile.elevation_at(at - turn)) / 2.0
    return np.sqrt(own**2 + profile.level_error_deg**2 + slope**2)


def _settings_changed(
    stored: Mapping[str, Any], now: Mapping[str, Any]
) -> Iterator[tuple[str, str, str]]:
    one, other = stored["settings"], now["settings"]
    for name in {**one, **other}:
        if one.get(name) != other.get(name):
            yield name, _shown(one.get(name)), _shown(other.get(name))


def _shown(value: Any) -> str:
    return written(tuple(value) if isinstance(value, list) else value)


def _inputs_changed(
    stored: Mapping[str, Any], now: Mapping[str, Any]
) -> Iterator[tuple[str, str, str]]:
    """What the results were made of, beside settings."""
    for name, read in (
        ("program", lambda d: d.get("program", "")),
        ("site", lambda d: ", ".join(f"{v:g}" for v in d["site"].values())),
        ("sky", lambda d: d["sky"]["source"]),
        (
            "declination",
            lambda d: f"{d['declination']['value_deg']:+.2f}° ({d['declination']['source']})",
        ),
        ("recordings", lambda d: _recordings(d)),
        ("calibrations", lambda d: _calibrations(d)),
    ):
        a, b = str(read(stored)), str(read(now))
        if a != b:
            yield name, a, b


def _recordings(document: Mapping[str, Any]) -> str:
    found = document["recordings"]
    return ", ".join(f"{r['file']} ({str(r['sha256'])[:8]})" for r in found)


def _calibrations(document: Mapping[str, Any]) -> str:
    used = {u["file"] for c in document["calibrations"] for u in c["used"]}
    return ", ".join(sorted(map(str, used))) or "none"


def _checks_changed(
    stored: Mapping[str, Any], now: Mapping[str, Any]
) -> Iterator[tuple[str, bool, bool]]:
    before, after = (_passed(document) for document in (stored, now))
    for name, passed in after.items():
        if name in before and before[name] != passed:
            yield name, before[name], passed


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
    return {**document, "changes": changes.as_dict()}
