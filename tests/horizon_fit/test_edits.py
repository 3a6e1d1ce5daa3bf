"""Changes made in the office."""

from __future__ import annotations

import json

import numpy as np
import pytest
from skyline_paths import fused, swept, wavy_line

from logger.errors import InputError
from logger.horizon import HorizonProfile
from logger.horizon_fit import (
    DropSpan,
    Edit,
    ImportHorizon,
    LeaveOut,
    OverrideSector,
    SightedSweep,
    TakeIn,
    edit_from_dict,
    edited_passes,
    edited_profile,
)

WHO = ("M. Arden", "2026-05-15T10:00:00Z", "a van stood there")
EDITS: tuple[Edit, ...] = (
    DropSpan(*WHO, "one.sweep", 3.0, 9.5),
    LeaveOut(*WHO, "one.sweep"),
    TakeIn(*WHO, "two.sweep"),
    OverrideSector(*WHO, 350.0, 20.0, 12.0, 14.0, 0.5),
    ImportHorizon(*WHO, "terrain.csv", 10.0, 60.0, True),
)
AZIMUTH = np.arange(0.0, 360.0, 1.0)


def level_at(elevation_deg: float, known: np.ndarray | None = None) -> HorizonProfile:
    elevation = np.full(360, elevation_deg)
    if known is not None:
        elevation = np.where(known, elevation, np.nan)
    return HorizonProfile(AZIMUTH, elevation, np.full(360, 0.2))


@pytest.mark.parametrize("edit", EDITS)
def test_every_edit_survives_a_file(edit: Edit) -> None:
    assert edit_from_dict(json.loads(json.dumps(edit.as_dict()))) == edit


@pytest.mark.parametrize("edit", EDITS)
def test_every_edit_says_who_when_and_why(edit: Edit) -> None:
    assert all(word in str(edit) for word in WHO)


@pytest.mark.parametrize(
    ("plain", "complaint"),
    [
        ({"kind": "erase"}, "no kind of change"),
        ({"kind": "leave out", "who": "a", "when": "b", "why": "c"}, "needs 'recording'"),
        ({**EDITS[1].as_dict(), "colour": 1}, "has no field 'colour'"),
        ({**EDITS[0].as_dict(), "from_s": "soon"}, "from_s of a change is no number"),
        ({**EDITS[0].as_dict(), "to_s": float("nan")}, "to_s of a change is no number"),
        ({**EDITS[0].as_dict(), "to_s": 10**400}, "to_s of a change is no number"),
        ({**EDITS[0].as_dict(), "from_s": -1.0}, "span from -1 to 9.5 s"),
        ({**EDITS[0].as_dict(), "from_s": 10.0}, "span from 10 to 9.5 s"),
        ({**EDITS[3].as_dict(), "to_elevation_deg": 95.0}, "to_elevation_deg 95 is outside -90"),
        ({**EDITS[3].as_dict(), "to_azimuth_deg": 480.0}, "to_azimuth_deg 480 is outside 0 to 360"),
        ({**EDITS[3].as_dict(), "standard_error_deg": -1.0}, "standard_error_deg -1 is outside"),
        ({**EDITS[4].as_dict(), "from_azimuth_deg": -10.0}, "from_azimuth_deg -10 is outside"),
        ({**EDITS[4].as_dict(), "only_unmeasured": 3}, "neither true nor false"),
    ],
)
def test_an_entry_that_makes_no_sense_is_refused(plain: dict[str, object], complaint: str) -> None:
    with pytest.raises(InputError, match=complaint) as caught:
        edit_from_dict(plain, "job.toml")
    assert caught.value.where == "job.toml"
    assert caught.value.hint


def test_a_dropped_span_is_not_used_and_says_why() -> None:
    one = SightedSweep(swept(*wavy_line()), name="one.sweep")
    (edited,) = edited_passes([one], [EDITS[0]])
    inside = (one.sight.t_s >= 3.0) & (one.sight.t_s <= 9.5)
    assert not edited.sight.used[inside].any()
    assert edited.sight.used[~inside].all()
    assert set(edited.sight.reason[inside]) == {"dropped in the office"}
    assert one.sight.used.all()


def test_recordings_are_left_out_and_taken_in() -> None:
    one, two = (
        SightedSweep(swept(*wavy_line(), seed=s), name=f"{n}.sweep")
        for s, n in ((1, "one"), (2, "two"))
    )
    kept = edited_passes([one], [TakeIn(*WHO, "two.sweep"), LeaveOut(*WHO, "one.sweep")],
                         {"two.sweep": two})  # fmt: skip
    assert [p.name for p in kept] == ["two.sweep"]


@pytest.mark.parametrize("edit", EDITS[:3])
def test_a_recording_that_is_not_there_is_an_error(edit: Edit) -> None:
    with pytest.raises(InputError, match=r"sweep"):
        edited_passes([], [edit])


@pytest.mark.parametrize("order", [(0, 1), (1, 0), (1, 1)])
def test_a_change_to_a_recording_that_is_left_out_is_of_no_effect(order: tuple[int, int]) -> None:
    one, two = (SightedSweep(swept(*wavy_line()), name=f"{n}.sweep") for n in ("one", "two"))
    assert [p.name for p in edited_passes([one, two], [EDITS[i] for i in order])] == ["two.sweep"]


def test_an_overridden_sector_is_straight_and_sharp_at_its_ends() -> None:
    profile = edited_profile(level_at(5.0), [EDITS[3]])
    assert profile.elevation_at([349.9, 20.1]) == pytest.approx([5.0, 5.0])
    assert profile.elevation_at([350.1, 5.0, 19.9]) == pytest.approx([12.0, 13.0, 14.0], abs=0.02)
    assert profile.known.all()
    assert any("M. Arden" in step for step in profile.steps)


def test_an_imported_horizon_fills_only_what_was_not_measured() -> None:
    known = ~((AZIMUTH > 30) & (AZIMUTH < 50))
    edit = ImportHorizon(*WHO, "terrain.csv", only_unmeasured=True)
    profile = edited_profile(level_at(5.0, known), [edit], {"terrain.csv": level_at(9.0)})
    assert profile.elevation_at([10.0, 29.0, 51.0]) == pytest.approx([5.0] * 3)
    assert profile.elevation_at([31.0, 40.0, 49.0]) == pytest.approx([9.0] * 3)
    assert profile.known.all()


def test_within_a_sector_only_its_gaps_are_filled() -> None:
    known = ~((AZIMUTH > 30) & (AZIMUTH < 80))
    edit = ImportHorizon(*WHO, "terrain.csv", 20.0, 60.0, only_unmeasured=True)
    profile = edited_profile(level_at(5.0, known), [edit], {"terrain.csv": level_at(9.0)})
    assert profile.elevation_at([25.0, 40.0, 59.0]) == pytest.approx([5.0, 9.0, 9.0])
    assert not profile.measured_at([65.0, 75.0]).any()


def test_a_whole_horizon_can_be_imported() -> None:
    edit = ImportHorizon(*WHO, "terrain.csv")
    profile = edited_profile(level_at(5.0), [edit], {"terrain.csv": level_at(9.0)})
    assert profile.elevation_deg == pytest.approx(9.0)
    with pytest.raises(InputError, match=r"terrain\.csv"):
        edited_profile(level_at(5.0), [edit])


def test_a_sector_of_another_horizon_brings_its_gaps_along() -> None:
    gap = level_at(9.0, ~((AZIMUTH > 100) & (AZIMUTH < 120)))
    edit = ImportHorizon(*WHO, "other.csv", 90.0, 130.0)
    profile = edited_profile(level_at(5.0), [edit], {"other.csv": gap})
    assert not profile.measured_at([105.0, 115.0]).any()
    assert profile.elevation_at([80.0, 95.0, 125.0]) == pytest.approx([5.0, 9.0, 9.0])


def test_edits_run_through_the_whole_line() -> None:
    one = SightedSweep(swept(*wavy_line()), name="one.sweep")
    passes = edited_passes([one], [EDITS[0]])
    profile = edited_profile(fused(*passes).profile, [EDITS[3]])
    assert profile.elevation_at(5.0) == pytest.approx(13.0, abs=0.02)
