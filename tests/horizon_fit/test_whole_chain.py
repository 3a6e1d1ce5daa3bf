"""From simulated bytes to bounds of access: every way of sweeping badly is noticed and bounded."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from skyline_paths import failed, fused, off, oriented

from logger.access import Plane, SiteYear
from logger.horizon_fit import HorizonResult
from logger.settings import Settings
from logger.simulation import (
    DEFAULT_SITE,
    Glance,
    Operator,
    Scene,
    Sensor,
    scene_named,
    simulate_sweep,
)

CALM = Operator.calm()


@cache
def year() -> SiteYear:
    return SiteYear(DEFAULT_SITE, [Plane("south", 35.0, 180.0)], Settings(draws=400))


def width_holding_the_truth(scene: Scene, result: HorizonResult) -> float:
    """Of the survey's interval of annual beam access, which must hold the truth."""
    found, right = (
        year().assess(profile).planes[0].beam_access for profile in (result.profile, scene.truth())
    )
    assert found.survey_low[12] <= right.annual <= found.survey_high[12]
    return float(found.survey_high[12] - found.survey_low[12])


def swept(operator: Operator, name: str = "street", seed: int = 3) -> tuple[Scene, HorizonResult]:
    scene = scene_named(name, seed)
    simulated = simulate_sweep(scene, operator, Sensor().without_iron(), seed=seed)
    return scene, fused(oriented(simulated), latitude_deg=DEFAULT_SITE.latitude_deg)


NARROW = (0.0, 0.08)
HALF, TWICE = "sun's range measured", "sun's range seen twice"
SWEEPS: dict[str, tuple[Operator, list[str], tuple[float, float], str]] = {
    "whole": (CALM, [], NARROW, ""),
    "without the north": (replace(CALM, sectors=((50.0, 310.0),)), [], NARROW, ""),
    "half": (replace(CALM, sectors=((40.0, 180.0),)), [HALF], (0.3, 1.0), "go back to 180 to 3"),
    "without the south": (
        replace(CALM, sectors=((230.0, 490.0),)), [HALF], (0.5, 1.0), "go back to 130 to 230°"
    ),
    "one pass": (replace(CALM, passes=1), [TWICE], NARROW, "sweep again over"),
    "twenty seconds at the ground": (
        replace(CALM, glances=(Glance(160.0, 20.0),)), [], NARROW, ""
    ),
}  # fmt: skip
"""How it was swept, what fails of it, how wide the interval of the year is, what is advised."""


@pytest.mark.parametrize("seed", [3, 8])
@pytest.mark.parametrize("how", SWEEPS)
def test_however_a_skyline_is_swept_the_truth_lies_within_what_is_told(how: str, seed: int) -> None:
    operator, wrong, (narrowest, widest), advice = SWEEPS[how]
    scene, result = swept(operator, seed=seed)
    assert failed(result) == wrong
    assert advice in " ".join(check.why for check in result.checks if not check.passed)
    assert narrowest < width_holding_the_truth(scene, result) < widest
    if operator.glances:
        assert result.sight[0].rejected()["off the skyline"] > 900


def test_steep_facades_can_be_swept_too() -> None:
    scene, result = swept(CALM, "facade", 0)
    assert np.median(np.abs(off(result, scene.elevation_at))) < 0.5
    assert width_holding_the_truth(scene, result) < 1.0


def test_labels_of_the_operator_find_their_sectors() -> None:
    scene, result = swept(CALM, "street-with-mast", 1)
    found = result.profile.obstructions
    assert len(found) == len(scene.obstructions)
    for one in found:
        expected = [o for o in scene.obstructions if o.name == one.name]
        nearest = min(abs(one.from_azimuth_deg - o.from_azimuth_deg) for o in expected)
        assert nearest < 1.5
        assert one.kind == expected[0].kind
