"""The document's standing texts; each is a message of the catalogue."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from logger import safety
from logger.report.language import N_

if TYPE_CHECKING:
    from logger.survey.result import PointResult

LIGHT_AND_POWER = N_(
    "All figures are of light. Power can fall by more: modules wired into one string carry one "
    "current, and a shadow on a few cells can hold back all of them."
)
NOT_LOOKED_AT = N_(
    "How modules are wired into strings, whether roof and structure bear an array, how trees "
    "will grow and what will be built, snow, dirt and wear."
)
SAFETY_LINE = N_(
    "Work on roofs, on ladders and near power lines can kill, and so can electricity. Local "
    "codes, the permit office and licensed professionals come before anything written here."
)

PICTURES = {
    "sun-paths": N_("The sun's paths over the horizon at {point}, azimuth against elevation."),
    "shade": N_("Share of its time that the sun is out of sight at {point}, month by hour."),
    "months": N_("Bars of solar access by month at {point}; the table below has the figures."),
}
"""What each picture of a point shows, for readers that speak."""

STRINGS = (
    N_(
        "Modules in one string carry one current, and behind each bypass diode stands a block "
        "of cells, as a rule three to a module. A shadow on one cell takes its whole block "
        "out, so that the loss of power is as a rule larger than the loss of light given "
        "here."
    ),
    N_(
        "By the model of Martínez-Moreno, Muñoz and Lorenzo (Solar Energy Materials and Solar "
        "Cells 94:2298, 2010) direct light counts as (1 − shaded area) · (1 − shaded blocks / "
        "(blocks + 1)), both as fractions: in a module of three blocks a shadow that touches one "
        "block costs at least a quarter of its direct light, one that touches all three at "
        "least three quarters."
    ),
    N_(
        "Keep modules that are shaded at the same hours in one string, apart from those that "
        "are not; lay the blocks along the edge of the shadow; ask the maker of inverter or "
        "module electronics what they do under partial shade. (Common practice, no source.)"
    ),
)

SWEPT = N_(
    "A board with a compass, a level and a gyro was swept along the skyline with its line of "
    "sight on the edge between ground and sky. Each sample was turned into an azimuth from "
    "true north and an elevation above the level plane, with the calibrations named here. A "
    "periodic curve was fitted through all passes; where no pass went, nothing was filled in."
)
NORTH_BY_MODEL = N_(
    "True north is the compass's north turned by the magnetic declination of the model named here."
)
NORTH_BY_BEARING = N_(
    "True north comes from a bearing calibration, in place of the magnetic declination."
)
NORTH_BY_BOTH = N_(
    "True north comes from a bearing calibration where there is one, and elsewhere from the "
    "magnetic declination of the model named here."
)


def north(points: Sequence[PointResult]) -> str:
    """What made the compass's north true."""
    by_bearing = {
        any(c.kind == "bearing" for c in one.used) for point in points for one in point.chosen
    }
    if len(by_bearing) > 1:
        return NORTH_BY_BOTH
    return NORTH_BY_BEARING if by_bearing == {True} else NORTH_BY_MODEL


METHOD = (
    N_(
        "Solar access is the light on the plane with this horizon, over that with an open, level "
        "horizon. Sun in sight is the share of hours in which nothing stands before the sun. The "
        "total solar resource fraction is solar access times the orientation factor, which "
        "compares the plane without shade with the best fixed plane at the site. "
        "For solar access the beam and the bright sky around the sun are lost "
        "while the sun's disc is behind the horizon, in proportion while it is partly behind; "
        "light from the rest of the sky is reduced by the plane's own view of it; light from "
        "the ground is left as it is."
    ),
    N_(
        "The intervals hold all that is uncertain and was not settled: many horizons are drawn "
        "with the errors of compass, level and hand, and with each a sky where none is given, "
        "leaves of deciduous trees, distances that nobody gave where the module stands higher "
        "or lower than the sight, and how much diffuse light comes from around the sun. Where an "
        "unmeasured part of the horizon matters, low takes it as fully blocked and high as open. "
        "Every interval in this report, and every ±, is one of 95 %. "
        "Apparent solar time is 12 when the sun crosses the meridian."
    ),
    N_(
        "For trial removals: what stands behind the thing taken away was never seen: "
        "the horizon is taken straight across the gap, at most as high as the thing itself."
    ),
)
LIMITS = (
    N_(
        "A point's figures hold for the place and height at which the board was swept: a metre "
        "away, near obstructions look different, and only the page of a whole array carries them "
        "there. The horizon is that of the day of the survey: trees grow and are cut, houses are "
        "built."
    ),
    N_(
        "A compass is disturbed by iron and by currents. A bearing calibration finds a "
        "constant error, not one that changes along the sweep."
    ),
    N_(
        "The light is no forecast; snow, dirt and shade of module rows on each other are not "
        "in the figures. The loss given is the light that does not arrive, not the energy "
        "that an inverter does not deliver."
    ),
)
REPEAT = N_(
    "The recordings hold every byte the board sent. Whoever has the job's folder can work "
    "this report out again and compare; the SHA-256 of a file tells whether it is the same "
    "file."
)
CAUTIONS = safety.LONG_NOTICE
