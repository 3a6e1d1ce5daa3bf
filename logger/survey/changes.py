"""A new result beside the stored one: which settings differ, and what that changed by how much."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from logger.errors import InputError
from logger.files import plain
from logger.horizon import HorizonProfile
from logger.report.figures import MonthlyShare, PlaneFigures, plane_figures
from logger.report.style import MONTHS
from logger.report.tables import Cell, Column, Table, as_text
from logger.survey.comparison import Difference, difference

Triple = tuple[float, float, float]

SAME = 5e-10
"""Results are stored with ten decimals."""

WORTH_A_ROW = 5e-4
"""A month whose share changed by less than this is not shown: 0.05 percentage points."""

LOOK_EVERY_DEG = 0.5
SIGMAS_OF_95 = 1.96


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
            "more_than_uncertainty": self.gap.is_real,
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


def changes_between(stored: Mapping[str, Any], now: Mapping[str, Any], where: str = "") -> Changes:
    """Hold a new result against the stored one."""
    now = plain(now)
    try:
        before = [plane_figures(p) for p in stored["planes"]]
        skyline = _skyline_change(_profile(stored), _profile(now))
        settings = (*_settings_changed(stored, now), *_inputs_changed(stored, now))
        checks = tuple(_checks_changed(stored, now))
    except (KeyError, TypeError, ValueError, AttributeError, IndexError) as error:
        raise InputError(
            "is no result of this program", where, hint="store it again with --store"
        ) from error
    after = [plane_figures(p) for p in now["planes"]]
    by_name = {plane.name: plane for plane in before}
    figures = [
        change
        for plane in after
        if plane.name in by_name
        for change in _figures_changed(by_name[plane.name], plane)
    ]
    names = {plane.name for plane in after}
    only_one = [f"{p.name}: not in the stored result" for p in after if p.name not in by_name]
    only_one += [f"{p.name}: only in the stored result" for p in before if p.name not in names]
    for plane in after:
        old = by_name.get(plane.name)
        if old and (old.tilt_deg, old.azimuth_deg) != (plane.tilt_deg, plane.azimuth_deg):
            only_one.append(
                f"{plane.name}: tilt {old.tilt_deg:g}°, azimuth {old.azimuth_deg:g}° stored; "
                f"tilt {plane.tilt_deg:g}°, azimuth {plane.azimuth_deg:g}° now"
            )
    return Changes(settings, tuple(figures), skyline, checks, tuple(only_one))


def _figures_changed(old: PlaneFigures, new: PlaneFigures) -> Iterator[FigureChange]:
    def one(figure: str, unit: str, a: Triple, b: Triple) -> FigureChange:
        return FigureChange(new.name, figure, unit, a, b, difference(b, a))

    def alone(value: float) -> Triple:
        return value, math.nan, math.nan

    def shares(name: str, a: MonthlyShare, b: MonthlyShare) -> Iterator[FigureChange]:
        yield one(f"{name}, year", "1", _year(a), _year(b))
        for k, month in enumerate(MONTHS):
            yield one(f"{name}, {month}", "1", _month(a, k), _month(b, k))

    yield from shares("solar access", old.solar_access, new.solar_access)
    yield from shares("beam access", old.beam_access, new.beam_access)
    yield one("total solar resource fraction", "1", _resource(old), _resource(new))
    for name, unit, a, b in (
        ("loss, year", "kWh/m2", old.loss_kwh_per_m2, new.loss_kwh_per_m2),
        ("unshaded, year", "kWh/m2", old.unshaded_kwh_per_m2, new.unshaded_kwh_per_m2),
        ("window clear, worst month", "1", _least(old.window_clear), _least(new.window_clear)),
    ):
        yield one(name, unit, alone(a), alone(b))


def _least(values: Any) -> float:
    finite = values[np.isfinite(values)]
    return float(finite.min()) if finite.size else math.nan


def _resource(plane: PlaneFigures) -> Triple:
    value, low, high = (v * plane.orientation_factor for v in _year(plane.solar_access))
    return value, low, high


def _year(share: MonthlyShare) -> Triple:
    return share.year.value, share.year.low, share.year.high


def _month(share: MonthlyShare, k: int) -> Triple:
    return float(share.value[k]), float(share.low[k]), float(share.high[k])


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
        float((moved > np.maximum(SIGMAS_OF_95 * spread, SAME)).sum()) * LOOK_EVERY_DEG,
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
) -> tuple[tuple[str, str, str], ...]:
    one, other = (_flat(document.get("settings") or {}) for document in (stored, now))
    if not one:
        # Results of before settings were stored; what they assumed is all that is known.
        one, other = (
            _flat({"assumptions": document.get("assumptions") or {}}) for document in (stored, now)
        )
    names = [*one, *(n for n in other if n not in one)]
    return tuple(
        (name, _shown(one.get(name, "")), _shown(other.get(name, "")))
        for name in names
        if one.get(name, "") != other.get(name, "")
    )


def _inputs_changed(
    stored: Mapping[str, Any], now: Mapping[str, Any]
) -> Iterator[tuple[str, str, str]]:
    """What the results were made of, beside settings."""
    for name, read in (
        ("program", lambda d: d.get("program", "")),
        ("site", lambda d: ", ".join(f"{v:g}" for v in d["site"].values())),
        ("sky", lambda d: (d.get("assumptions") or {}).get("sky", "")),
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
    found = document.get("recordings") or []
    return ", ".join(f"{r['file']} ({str(r['sha256'])[:8]})" for r in found)


def _calibrations(document: Mapping[str, Any]) -> str:
    used = {u["file"] for c in document.get("calibrations") or () for u in c.get("used") or ()}
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


def _flat(tree: Mapping[str, Any], lead: str = "") -> dict[str, Any]:
    found: dict[str, Any] = {}
    for key, value in tree.items():
        if isinstance(value, Mapping):
            found |= _flat(value, f"{lead}{key}.")
        else:
            found[f"{lead}{key}"] = value
    return found


def _shown(value: Any) -> str:
    if value is None:
        return "none"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        return ",".join(_shown(v) for v in value)
    return f"{value:g}" if isinstance(value, float) else str(value)


def changes_text(changes: Changes) -> str:
    """Stored and new side by side, for the terminal."""
    if changes.nothing:
        return "Against the stored result: nothing changed."
    parts = ["Against the stored result:"]
    if changes.settings:
        columns = (Column("name", "what differs"), Column("stored", "stored"), Column("now", "now"))
        parts.append(as_text(Table("Settings and inputs", columns, changes.settings)).rstrip())
    rows = [f for f in changes.figures if _worth_a_row(f)]
    if rows:
        parts.append(as_text(_figure_table(rows)).rstrip())
    parts.append(
        "\n".join([*changes.planes, _skyline_words(changes.skyline), *_check_words(changes)])
    )
    return "\n\n".join(parts)


def _worth_a_row(figure: FigureChange) -> bool:
    if figure.figure == "solar access, year":
        return True
    if figure.figure.startswith("beam access") and not figure.figure.endswith("year"):
        return False
    if figure.unit == "1":
        return figure.differs and not abs(figure.gap.value) < WORTH_A_ROW
    return figure.differs and not abs(figure.gap.value) < 0.05


def _figure_table(figures: list[FigureChange]) -> Table:
    rows: list[tuple[Cell, ...]] = []
    for f in figures:
        factor, unit = (100.0, "%") if f.unit == "1" else (1.0, "kWh/m²")
        real = {True: "yes", False: "no", None: "not known"}[f.gap.is_real]
        numbers = (*f.stored, *f.now, f.gap.value)
        rows.append((f.plane, f"{f.figure} [{unit}]", *(n * factor for n in numbers), real))
    names = ("stored", "low", "high", "now", "low", "high", "now less stored")
    return Table(
        "Figures",
        (
            Column("plane", "plane"),
            Column("figure", "figure"),
            *(Column(f"c{k}", name, "", 1) for k, name in enumerate(names)),
            Column("real", "more than the uncertainty"),
        ),
        tuple(rows),
    )


def _skyline_words(moved: SkylineChange) -> str:
    words = "skyline: "
    if math.isnan(moved.largest_deg):
        words += "not measured in both at any azimuth"
    elif moved.largest_deg <= 1e-6:
        words += "the same"
    else:
        words += (
            f"moved by {moved.mean_deg:.2f}° on average, by {moved.largest_deg:.2f}° at most "
            f"(azimuth {moved.at_azimuth_deg:.0f}°); by more than the uncertainty over "
            f"{moved.beyond_deg:g}° of azimuth"
        )
    if moved.measured_deg:
        more = "more" if moved.measured_deg > 0 else "less"
        words += f"; {abs(moved.measured_deg):g}° {more} of it measured"
    return words


def _check_words(changes: Changes) -> list[str]:
    return [
        f"quality: {name} {'now passes, failed before' if now else 'now fails, passed before'}"
        for name, _, now in changes.checks
    ]
