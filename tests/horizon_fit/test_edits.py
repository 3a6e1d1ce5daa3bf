"""Changes made in the office."""

from __future__ import annotations

import json
from typing import Any

import numpy as np
import pytest
from skyline_paths import swept, wavy_line

from logger.edits import Edit, edit_from
from logger.errors import InputError
from logger.horizon import HorizonProfile
from logger.horizon_fit import SightedSweep, edited_passes, edited_profile

WHO = {"who": "M. Arden", "when": "2026-05-15T10:00:00Z", "why": "a van stood there"}
SECTOR = {
    "from_azimuth_deg": 350.0,
    "to_azimuth_deg": 20.0,
    "from_elevation_deg": 12.0,
    "to_elevation_deg": 14.0,
    "standard_error_deg": 0.5,
}
AZIMUTH = np.arange(0.0, 360.0, 1.0)


def entry(kind: str, **what: Any) -> dict[str, Any]:
    return {"kind": kind, "point": "eave", **WHO, **what}


def edit(kind: str, **what: Any) -> Edit:
    return edit_from(entry(kind, **what))


SPAN = edit("exclude-span", recording="one.sweep", from_s=3.0, to_s=9.5)
SWEEP = edit("exclude-sweep", recording="one.sweep")
SET = edit("set-sector", **SECTOR)
EDITS = (
    SPAN,
    edit("exclude-span", from_azimuth_deg=350, to_azimuth_deg=10),
    SWEEP,
    SET,
    edit("remove-point", recordings=["one.sweep", "two.sweep"]),
    edit("rename-point", was="gable"),
)


def level_at(elevation_deg: float, known: np.ndarray | None = None) -> HorizonProfile:
    elevation = np.full(360, elevation_deg)
    if known is not None:
        elevation = np.where(known, elevation, np.nan)
    return HorizonProfile(AZIMUTH, elevation, np.full(360, 0.2))


def recording(name: str = "one") -> SightedSweep:
    return SightedSweep(swept(*wavy_line()), name=f"{name}.sweep")


@pytest.mark.parametrize("one", EDITS)
def test_every_edit_survives_a_file_and_says_who_when_and_why(one: Edit) -> None:
    assert edit_from(json.loads(json.dumps(one.as_dict()))) == one
    assert all(word in str(one) for word in WHO.values())


@pytest.mark.parametrize(
    ("plain", "complaint", "hint"),
    [
        (entry("exclude-spam"), "no kind of edit 'exclude-spam'", "exclude-span"),
        (entry("exclude-sweep"), "recording is missing", "text in quotes"),
        (entry("exclude-sweep", recording="a", colour=1), "no key 'colour'", "recording"),
        (entry("exclude-sweep", recording="a", who=" "), "who is empty", "text"),
        (entry("exclude-sweep", recording="a", when="soon"), "when is 'soon'", "2026-05-14T"),
        (entry("exclude-sweep", recording="a", when="9999-01-01"), "when is '9999", "1970 to 2200"),
        (entry("exclude-span", recording="a", from_s=3.0), "a beginning and an end", "from_s"),
        (entry("exclude-span", from_s=3.0, to_s=4.0), "seconds are of one recording", "name"),
        (entry("exclude-span", recording="a", from_s=5.0, to_s=4.0), "not after 5 s", ""),
        (SPAN.as_dict() | {"from_s": "soon"}, "from_s is 'soon'", "a number from 0"),
        (SPAN.as_dict() | {"from_s": -1.0}, "from_s is -1, outside", "a number from 0"),
        (SPAN.as_dict() | {"to_s": 10**400}, "to_s is not a finite", "a number from 0"),
        (SET.as_dict() | {"to_elevation_deg": 95}, "is 95, outside -90 to 90", "-90 to 90"),
        (SET.as_dict() | {"to_azimuth_deg": 480}, "is 480, outside 0 to 360", "0 to 360"),
        (SET.as_dict() | {"standard_error_deg": -1}, "is -1, outside 0", "0 to 180"),
        (entry("remove-point", recordings="a.sweep"), "recordings is 'a.sweep'", "a list"),
    ],
)  # fmt: skip
def test_an_entry_that_makes_no_sense_is_refused(
    plain: dict[str, object], complaint: str, hint: str
) -> None:
    with pytest.raises(InputError, match=complaint) as caught:
        edit_from(plain, "job.toml: edits 1")
    assert caught.value.where == "job.toml: edits 1"
    assert hint in caught.value.hint


def test_an_excluded_span_of_seconds_is_not_used_and_says_why() -> None:
    one = recording()
    (edited,) = edited_passes([one], [SPAN])
    inside = (one.sight.t_s >= 3.0) & (one.sight.t_s <= 9.5)
    assert not edited.sight.used[inside].any()
    assert edited.sight.used[~inside].all()
    assert set(edited.sight.reason[inside]) == {"excluded by an edit"}
    assert one.sight.used.all()


@pytest.mark.parametrize("named", ["", "one.sweep"])
def test_an_excluded_span_of_azimuth_runs_clockwise_and_across_north(named: str) -> None:
    passes = [recording("one"), recording("two")]
    span = edit("exclude-span", recording=named, from_azimuth_deg=350, to_azimuth_deg=20)
    for one in edited_passes(passes, [span]):
        azimuth = one.sight.azimuth_deg % 360
        inside = (azimuth >= 350) | (azimuth <= 20)
        assert inside.any()
        assert one.sight.used[~inside].all()
        assert one.sight.used[inside].all() == (named == "one.sweep" and one.name == "two.sweep")
        assert one.sight.used[inside].any() == one.sight.used[inside].all()


REMOVED = edit("remove-point", recordings=["one.sweep"])


@pytest.mark.parametrize("edits", [[SWEEP], [SPAN, SWEEP], [SWEEP, SPAN], [REMOVED]])
def test_an_excluded_recording_is_gone_whatever_else_is_said_of_it(edits: list[Edit]) -> None:
    kept = edited_passes([recording("one"), recording("two")], edits)
    assert [one.name for one in kept] == ["two.sweep"]


def test_a_sector_that_is_set_is_straight_and_sharp_at_its_ends() -> None:
    profile = edited_profile(level_at(5.0), [SET])
    assert profile.elevation_at([349.9, 20.1]) == pytest.approx([5.0, 5.0])
    assert profile.elevation_at([350.1, 5.0, 19.9]) == pytest.approx([12.0, 13.0, 14.0], abs=0.02)
    assert profile.known.all()
    inside = (profile.azimuth_deg > 351) | (profile.azimuth_deg < 19)
    assert set(profile.standard_error_deg[inside]) == {0.5}
    assert any("M. Arden" in step for step in profile.steps)


def test_a_sector_that_is_set_fills_a_gap_and_leaves_the_rest_of_it() -> None:
    gap = ~((AZIMUTH > 30) & (AZIMUTH < 80))
    values = SECTOR | {"from_azimuth_deg": 40, "to_azimuth_deg": 60}
    profile = edited_profile(level_at(5.0, gap), [edit("set-sector", **values)])
    assert profile.elevation_at([20.0, 50.0, 90.0]) == pytest.approx([5.0, 13.0, 5.0], abs=0.03)
    assert not profile.measured_at([35.0, 65.0]).any()


def test_a_sector_from_0_to_360_is_the_whole_circle() -> None:
    values = SECTOR | {"from_azimuth_deg": 0, "to_azimuth_deg": 360, "to_elevation_deg": 12}
    profile = edited_profile(level_at(5.0), [edit("set-sector", **values)])
    assert profile.elevation_at(AZIMUTH) == pytest.approx(np.full(360, 12.0))
