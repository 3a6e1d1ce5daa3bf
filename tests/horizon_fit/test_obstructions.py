"""Names on the skyline."""

from __future__ import annotations

import pytest
from skyline_paths import blocks_line, fused, sight, swept, tremor

from logger.horizon import Obstruction
from logger.horizon_fit import SightedSweep
from logger.horizon_fit.labels import combined, named_moments
from logger.recording.samples import KeyPress, Note, as_note


def sector(profile: object, name: str) -> tuple[float, float]:
    found = [o for o in profile.obstructions if o.name == name]  # type: ignore[attr-defined]
    assert len(found) == 1
    return found[0].from_azimuth_deg, found[0].to_azimuth_deg


def time_at(recorded: object, azimuth_deg: float) -> float:
    """When the first pass reaches an azimuth."""
    import numpy as np

    from logger.geometry import unwrapped

    path = unwrapped(recorded.azimuth_deg) % 720  # type: ignore[attr-defined]
    path = path - 360.0 if path[0] > 300 else path
    return float(recorded.t_s[int(np.argmax(path >= azimuth_deg))])  # type: ignore[attr-defined]


def test_a_label_holds_in_the_direction_of_the_sweep_until_the_next() -> None:
    recorded = swept(*blocks_line(), seed=1)
    notes = tuple(
        Note(time_at(recorded, a), name, kind)
        for a, name, kind in (
            (120.0, "far wood", "deciduous"),
            (260.0, "hill", "terrain"),
            (290.0, "", ""),
        )
    )
    profile = fused(SightedSweep(recorded, notes=notes)).profile
    assert sector(profile, "far wood") == pytest.approx((120.0, 260.0), abs=1.0)
    assert sector(profile, "hill") == pytest.approx((260.0, 290.0), abs=1.0)
    assert {o.kind for o in profile.obstructions} == {"deciduous", "terrain"}


def test_a_remark_ends_no_name_and_an_empty_name_does() -> None:
    recorded = swept(*blocks_line(), seed=1)
    wood = Note(time_at(recorded, 120.0), "far wood", "deciduous")
    remark = as_note(time_at(recorded, 200.0), {"text": "a van passes"})
    end = as_note(time_at(recorded, 260.0), {"label": ""})
    result = fused(SightedSweep(recorded, notes=(wood, remark, end)))
    assert sector(result.profile, "far wood") == pytest.approx((120.0, 260.0), abs=1.0)


def test_backwards_a_label_reaches_to_the_other_side() -> None:
    azimuth, elevation = blocks_line()
    recorded = swept(azimuth[::-1], elevation[::-1], passes=1, seed=2)
    t = recorded.t_s
    notes = (
        Note(float(t[abs(recorded.azimuth_deg - 260.0).argmin()]), "hill", "terrain"),
        Note(float(t[abs(recorded.azimuth_deg - 120.0).argmin()]), "", ""),
    )
    profile = fused(SightedSweep(recorded, notes=notes)).profile
    assert sector(profile, "hill") == pytest.approx((120.0, 260.0), abs=1.0)


def test_a_label_made_in_passing_goes_to_the_edge_it_was_made_at() -> None:
    recorded = swept(*blocks_line(), seed=3)
    late = 0.4
    notes = (
        Note(time_at(recorded, 40.3) + late, "mill", "building"),
        Note(time_at(recorded, 70.5) + late, "far", "terrain"),
    )
    result = fused(SightedSweep(recorded, notes=notes))
    edges = [edge.azimuth_deg for edge in result.edges]
    start, end = sector(result.profile, "mill")
    assert start in edges
    assert end in edges


def test_the_two_edges_of_a_mast_are_told_apart() -> None:
    recorded = swept(*blocks_line(), seed=4)
    climbs = sorted(
        c.first for e in fused(recorded).edges for c in e.climbs
         if c.index == 0 and abs(e.azimuth_deg - 150.7) < 2
    )  # fmt: skip
    notes = (
        Note(float(recorded.t_s[climbs[0]]), "mast", "pole or wire"),
        Note(float(recorded.t_s[climbs[1]]), "far", "terrain"),
    )
    profile = fused(SightedSweep(recorded, notes=notes)).profile
    start, end = sector(profile, "mast")
    assert start == pytest.approx(150.0, abs=0.4)
    assert end == pytest.approx(151.4, abs=0.4)


def test_a_note_belongs_to_the_mark_pressed_just_before() -> None:
    keys = (KeyPress(10.0, 2, True), KeyPress(30.0, 2, True), KeyPress(31.0, 1, True))
    notes = (Note(13.0, "oak", "deciduous"), Note(20.0, "barn", "building"))
    moments = [t for t, _ in named_moments(keys, notes)]
    assert moments == [10.0, 20.0]


def test_a_typed_table_goes_before_notes() -> None:
    recorded = swept(*blocks_line(), seed=5)
    note = Note(time_at(recorded, 100.0), "wood", "deciduous")
    table = (Obstruction("barn", 200.0, 220.0, "building", 25.0),)
    profile = fused(SightedSweep(recorded, notes=(note,)), obstructions=table).profile
    assert sector(profile, "barn") == (200.0, 220.0)
    assert sector(profile, "wood") == (220.0, 200.0)


def test_distances_can_be_given_by_name() -> None:
    recorded = swept(*blocks_line(), seed=6)
    note = Note(time_at(recorded, 100.0), "wood", "deciduous")
    profile = fused(SightedSweep(recorded, notes=(note,)), distances_m={"wood": 80.0}).profile
    assert {o.distance_m for o in profile.obstructions} == {80.0}


def test_an_unknown_kind_is_other() -> None:
    recorded = swept(*blocks_line(), seed=7)
    note = Note(time_at(recorded, 100.0), "thing", "spaceship")
    (found,) = fused(SightedSweep(recorded, notes=(note,))).profile.obstructions
    assert found.kind == "other"


def test_overlapping_sectors_are_cut_so_that_each_azimuth_has_one_name() -> None:
    parts = combined(
        [Obstruction("a", 350.0, 20.0), Obstruction("b", 10.0, 40.0), Obstruction("c", 0.0, 360.0)]
    )
    cut = {(o.name, o.from_azimuth_deg, o.to_azimuth_deg) for o in parts}
    assert cut == {("a", 350.0, 20.0), ("b", 20.0, 40.0), ("c", 40.0, 350.0)}


def test_labels_without_a_skyline_name_nothing() -> None:
    import numpy as np

    shaken_a, shaken_e = tremor(50, 1)
    still = sight(np.arange(50) * 0.02, 180 + shaken_a, 10 + shaken_e)
    blind = still.without(np.ones(50, dtype=bool), "covered")
    result = fused(SightedSweep(blind, notes=(Note(0.5, "x", "other"),)))
    assert result.profile.obstructions == ()
