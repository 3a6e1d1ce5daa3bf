"""A documented result and a report of it, by hand."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest
from matplotlib.axes import Axes
from matplotlib.patches import PathPatch
from matplotlib.path import Path as Outline

from logger.checks import Check
from logger.horizon import HorizonProfile, Obstruction
from logger.report.figures import plane_figures
from logger.report.inputs import CalibrationReport, PointReport, ReportInput, SourceFile
from logger.report.lettering import lettering
from logger.site import Site
from logger.sun_paths import sun_paths


def share(value: float | None) -> dict[str, float | None]:
    if value is None:
        return {"value": None, "low": None, "high": None}
    return {"value": value, "low": value - 0.04, "high": min(1.0, value + 0.03)}


@dataclass(frozen=True)
class Drawn:
    """Lines or boxes of one look."""

    patch: PathPatch

    @property
    def parts(self) -> list[np.ndarray]:
        path = self.patch.get_path()
        starts = np.flatnonzero(path.codes == Outline.MOVETO)
        return np.split(np.asarray(path.vertices), starts[1:])


@dataclass(frozen=True)
class Chart:
    """What a picture shows: texts by where they stand, lines and boxes."""

    words: dict[str, tuple[float, float]]
    lines: list[Drawn]
    boxes: list[Drawn]


@pytest.fixture(scope="session")
def read() -> Callable[[Axes], Chart]:
    def reading(axes: Axes) -> Chart:
        words = {w.text: (w.x, w.y) for w in lettering(axes).words}
        words |= {t.get_text(): t.get_position() for t in axes.texts}
        patches = [p for p in axes.get_children() if isinstance(p, PathPatch)]
        closed = [Outline.CLOSEPOLY in p.get_path().codes for p in patches]
        drawn = [Drawn(p) for p in patches]
        lines = [d for d, box in zip(drawn, closed, strict=True) if not box]
        return Chart(words, lines, [d for d, box in zip(drawn, closed, strict=True) if box])

    return reading


@pytest.fixture
def result_plane() -> dict[str, Any]:
    """A plane beyond the polar circle: January and December have no sun."""
    months = [None, 0.5, 0.7, 0.9, 0.95, 0.96, 0.95, 0.9, 0.8, 0.6, 0.4, None]
    return {
        "name": "roof",
        "tilt_deg": 30.0,
        "azimuth_deg": 180.0,
        "solar_access": {"annual": share(0.873), "monthly": [share(m) for m in months]},
        "beam_access": {"annual": share(0.83), "monthly": [share(m) for m in months]},
        "orientation_factor": 0.98,
        "total_solar_resource_fraction": 0.856,
        "loss": {"annual_kwh_per_m2": 201.25, "monthly_kwh_per_m2": [0.0] + [9.5] * 10 + [0.0]},
        "window": {
            "from_solar_hour": 9,
            "to_solar_hour": 15,
            "monthly_clear_fraction": months,
            "blocked": [{"month": 2, "from": 9, "to": 10.5, "obstruction": "=barn"}],
        },
        "by_obstruction": [
            {
                "name": "=barn",
                "from_azimuth_deg": 130.0,
                "to_azimuth_deg": 160.0,
                "annual_loss_fraction": 0.06,
                "monthly_loss_fraction": months,
            }
        ],
    }


SITE = Site(46.05, 14.51, 310.0)


def make_point(plane: dict[str, Any], name: str = "north eave", passed: bool = True) -> PointReport:
    azimuth = np.arange(0.0, 360.0, 5.0)
    elevation = np.where(azimuth < 300, 8.0, np.nan)
    profile = HorizonProfile(
        azimuth, elevation, np.full(72, 0.4), None, (Obstruction("=barn", 130.0, 160.0),)
    )
    why = "all was seen" if passed else "go back to 280 to 300 degrees"
    return PointReport(
        name=name,
        profile=profile,
        planes=(plane_figures(plane),),
        checks=(Check("sun-crossed sectors measured", passed, 0.0, 6.0, "deg", why),),
        files=(SourceFile("20260514T081231Z.sweep", "3f8a00b1" * 8, "not sealed"),),
        samples_read=9000,
        samples_used=8700,
        rejected={"moving too fast": 300},
    )


@pytest.fixture
def report(result_plane) -> ReportInput:
    return ReportInput(
        title="Weir Mill barns",
        site=SITE,
        points=(make_point(result_plane),),
        made=dt.date(2026, 5, 20),
        surveyed=dt.date(2026, 5, 14),
        people={"client": "#let x = [*]", "address": "Mill Lane 1", "surveyor": "A. Sample"},
        calibrations=(CalibrationReport("compass", "14 May 2026", (("residual", "0.6 µT"),)),),
        paths=sun_paths(SITE),
    )


@pytest.fixture
def point_of() -> Callable[..., PointReport]:
    return make_point
