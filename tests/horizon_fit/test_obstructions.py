"""Names on the skyline."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from skyline_paths import blocks_line, fused, shaken, swept

from logger.geometry import unwrapped
from logger.horizon import Obstruction
from logger.horizon_fit import HorizonResult, SightedSweep
from logger.horizon_fit.labels import combined, named_moments
from logger.orientation.sight_lines import SightLines
from logger.recording.samples import KeyPress, Note, as_note

WOOD, HILL, END = ("wood", "deciduous"), ("hill", "terrain"), ("", "")
BARN = Obstruction("barn", 200.0, 220.0, "building", 25.0)


def time_at(recorded: SightLines, azimuth_deg: float) -> float:
    """When the first pass reaches an azimuth."""
    path = unwrapped(recorded.azimuth_deg) % 720
    path = path - 360.0 if path[0] > 300 else path
    return float(recorded.t_s[int(np.argmax(path >= azimuth_deg))])


def named(
    recorded: SightLines, *said: tuple[float, tuple[str, str]], late_s: float = 0.0, **more: Any
) -> HorizonResult:
    """The horizon of a sweep with names told at azimuths of its first pass."""
    notes = tuple(Note(time_at(recorded, a) + late_s, *words) for a, words in said)
    return fused(SightedSweep(recorded, notes=notes), **more)


def sector(result: HorizonResult, name: str) -> tuple[float, float]:
    (found,) = [o for o in result.profile.obstructions if o.name == name]
    return found.from_azimuth_deg, found.to_azimuth_deg


@pytest.mark.parametrize(
    ("said", "expected"),
    [
        # In the direction of the sweep until the next, or an empty one.
        (
            [(120.0, WOOD), (260.0, HILL), (290.0, END)],
            [("wood", 120, 260, "deciduous", None), ("hill", 260, 290, "terrain", None)],
        ),
        ([(100.0, ("thing", "spaceship")), (290.0, END)], [("thing", 100, 290, "other", None)]),
        # Once round, and what was told beforehand goes first.
        ([(100.0, ("mill", "other"))], [("barn", 200, 220, "building", 25.0),
                                       ("mill", 220, 200, "other", 80.0)]),
    ],
)  # fmt: skip
def test_a_name_holds_in_the_direction_of_the_sweep_until_the_next(
    said: list[tuple[float, tuple[str, str]]], expected: list[tuple[Any, ...]]
) -> None:
    table = (BARN,) if len(said) == 1 else ()
    result = named(swept(*blocks_line(), seed=1), *said, obstructions=table,
                   distances_m={"mill": 80.0})  # fmt: skip
    found = sorted(result.profile.obstructions, key=lambda o: o.name)
    for one, (name, start, end, kind, away) in zip(found, sorted(expected), strict=True):
        assert (one.name, one.kind, one.distance_m) == (name, kind, away)
        assert sector(result, name) == pytest.approx((start, end), abs=1.0)


def test_a_remark_ends_no_name_and_an_empty_name_does() -> None:
    recorded = swept(*blocks_line(), seed=1)
    said = ((120.0, {"label": "wood"}), (200.0, {"text": "a van passes"}), (260.0, {"label": ""}))
    notes = tuple(as_note(time_at(recorded, a), what) for a, what in said)
    assert sector(fused(SightedSweep(recorded, notes=notes)), "wood") == pytest.approx(
        (120.0, 260.0), abs=1.0
    )


def test_backwards_a_label_reaches_to_the_other_side() -> None:
    azimuth, elevation = blocks_line()
    recorded = swept(azimuth[::-1], elevation[::-1], passes=1, seed=2)
    at = [float(recorded.t_s[abs(recorded.azimuth_deg - a).argmin()]) for a in (260.0, 120.0)]
    notes = (Note(at[0], *HILL), Note(at[1], *END))
    found = sector(fused(SightedSweep(recorded, notes=notes)), "hill")
    assert found == pytest.approx((120.0, 260.0), abs=1.0)


def test_a_label_made_in_passing_goes_to_the_edge_it_was_made_at() -> None:
    recorded = swept(*blocks_line(), seed=3)
    result = named(recorded, (40.3, ("mill", "building")), (70.5, HILL), late_s=0.4)
    assert set(sector(result, "mill")) <= {edge.azimuth_deg for edge in result.edges}


def test_the_two_edges_of_a_mast_are_told_apart() -> None:
    recorded = swept(*blocks_line(), seed=4)
    climbs = sorted(
        c.first for e in fused(recorded).edges for c in e.climbs
         if c.index == 0 and abs(e.azimuth_deg - 150.7) < 2
    )  # fmt: skip
    up, down = (float(recorded.t_s[row]) for row in climbs)
    notes = (Note(up, "mast", "pole or wire"), Note(down, *HILL))
    result = fused(SightedSweep(recorded, notes=notes))
    assert sector(result, "mast") == pytest.approx((150.0, 151.4), abs=0.4)


def test_a_note_belongs_to_the_mark_pressed_just_before() -> None:
    keys = (KeyPress(10.0, 2, True), KeyPress(30.0, 2, True), KeyPress(31.0, 1, True))
    notes = (Note(13.0, "oak", "deciduous"), Note(20.0, "barn", "building"))
    assert [t for t, _ in named_moments(keys, notes)] == [10.0, 20.0]


def test_overlapping_sectors_are_cut_so_that_each_azimuth_has_one_name() -> None:
    parts = combined(
        [Obstruction("a", 350.0, 20.0), Obstruction("b", 10.0, 40.0), Obstruction("c", 0.0, 360.0)]
    )
    cut = {(o.name, o.from_azimuth_deg, o.to_azimuth_deg) for o in parts}
    assert cut == {("a", 350.0, 20.0), ("b", 20.0, 40.0), ("c", 40.0, 350.0)}


def test_labels_without_a_skyline_name_nothing() -> None:
    still = shaken(np.full(50, 180.0), np.full(50, 10.0), 1)
    blind = still.without(np.ones(50, dtype=bool), "covered")
    result = fused(SightedSweep(blind, notes=(Note(0.5, "x", "other"),)))
    assert result.profile.obstructions == ()
