"""From simulated bytes to bounds of access: every way of sweeping badly is noticed and bounded."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache

import numpy as np
import pytest
from skyline_paths import fused, oriented

from logger.access import Plane, SiteYear
from logger.horizon import HorizonProfile
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

LATITUDE = DEFAULT_SITE.latitude_deg
CALM = Operator.calm()
BOARD = Sensor().without_iron()


@cache
def year() -> SiteYear:
    return SiteYear(DEFAULT_SITE, [Plane("south", 35.0, 180.0)], Settings(draws=400))


@dataclass(frozen=True, eq=False)
class Swept:
    scene: Scene
    result: HorizonResult

    @property
    def failed(self) -> list[str]:
        return [check.check for check in self.result.checks if not check.passed]

    def beam(self, profile: HorizonProfile) -> tuple[float, float, float]:
        access = year().assess(profile).planes[0].beam_access
        of_survey = access.survey_low, access.value, access.survey_high
        low, value, high = (float(share[12]) for share in of_survey)
        return low, value, high

    @property
    def bounds(self) -> tuple[float, float]:
        low, _, high = self.beam(self.result.profile)
        return low, high

    @property
    def truth(self) -> float:
        return self.beam(self.scene.truth())[1]


def swept(operator: Operator, scene: str = "street", seed: int = 3) -> Swept:
    made = scene_named(scene, seed)
    simulated = simulate_sweep(made, operator, BOARD, seed=seed)
    return Swept(made, fused(oriented(simulated), latitude_deg=LATITUDE))


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
    operator, failed, (narrowest, widest), advice = SWEEPS[how]
    run = swept(operator, seed=seed)
    assert run.failed == failed
    assert advice in " ".join(check.why for check in run.result.checks if not check.passed)
    low, high = run.bounds
    assert low <= run.truth <= high
    assert narrowest < high - low < widest
    if operator.glances:
        assert run.result.sight[0].rejected()["off the skyline"] > 900


def test_steep_facades_can_be_swept_too() -> None:
    run = swept(CALM, "facade", 0)
    azimuth = np.arange(0.0, 360.0, 0.5)
    away = np.abs(run.result.profile.elevation_at(azimuth) - run.scene.elevation_at(azimuth))
    assert np.median(away) < 0.5
    low, high = run.bounds
    assert low <= run.truth <= high


def test_labels_of_the_operator_find_their_sectors() -> None:
    run = swept(CALM, "street-with-mast", 1)
    truth = {(o.name, round(o.from_azimuth_deg)): o for o in run.scene.obstructions}
    found = run.result.profile.obstructions
    assert len(found) == len(truth)
    for one in found:
        expected = [o for o in run.scene.obstructions if o.name == one.name]
        nearest = min(abs(one.from_azimuth_deg - o.from_azimuth_deg) for o in expected)
        assert nearest < 1.5
        assert one.kind == expected[0].kind
