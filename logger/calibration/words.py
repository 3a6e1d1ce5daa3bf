"""A calibration's figures in words and units, for a reader who knows no key names."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from logger.checks import NORMAL_95


@dataclass(frozen=True)
class Figure:
    """How a number is told: its name, unit, decimals, and what it is multiplied by for the unit."""

    name: str
    unit: str = ""
    decimals: int = 0
    factor: float = 1.0
    error: str = ""  # Key of its standard error, told with it


FIGURES = {
    # Compass
    "samples": Figure("samples"),
    "seconds_s": Figure("time recorded", "s"),
    "heading_error_deg": Figure("heading error, root mean square", "°", 2),
    "heading_error_95_deg": Figure("heading error, 95 % bound", "°", 2),
    "level_error_deg": Figure("level error, root mean square", "°", 2),
    "strength_ut": Figure("magnetic field's strength, measured", "µT", 1),
    "dip_deg": Figure("magnetic field's dip, measured", "°", 1),
    "model_strength_ut": Figure("magnetic field's strength, model", "µT", 1),
    "model_dip_deg": Figure("magnetic field's dip, model", "°", 1),
    "hard_iron_ut": Figure("hard iron taken out", "µT", 1),
    "soft_iron_share": Figure("soft iron taken out", "%", 1, 100.0),
    "residual_share": Figure("scatter of the strength", "%", 2, 100.0),
    "residual_smoothed_share": Figure("scatter of the strength over half a second", "%", 2, 100.0),
    "dip_residual_deg": Figure("scatter of the dip", "°", 2),
    "force_residual_g": Figure("accelerometer noise", "thousandths of g", 1, 1000.0),
    "side_gap_deg": Figure("widest gap between sides turned down", "°"),
    "field_gap_deg": Figure("widest gap between sides turned to the field", "°"),
    "temperature_c": Figure("temperature of the board", "°C", 1),
    # Level
    "pairs": Figure("pairs of both faces"),
    "reversals": Figure("pairs turned end for end"),
    "index_deg": Figure("index error", "°", 2, error="index_error_deg"),
    "collimation_deg": Figure("collimation error", "°", 2, error="collimation_error_deg"),
    "pitch_offset_deg": Figure("pitch shown when level", "°", 2, error="pitch_offset_error_deg"),
    "target_azimuth_deg": Figure("azimuth of the target", "°", 1, error="target_azimuth_error_deg"),
    "target_elevation_deg": Figure("elevation of the target", "°", 2),
    "hold_s": Figure("shortest hold", "s", 1),
    "with_gyro": Figure("gyro used"),
    "target_is_near": Figure("target near enough to move with the hand"),
    # Bearing
    "sights": Figure("sights"),
    "heading_deg": Figure("from the compass to true north", "°", 2, error="standard_error_deg"),
    "residual_deg": Figure("compass error left after declination", "°", 2),
    "largest_spread_deg": Figure("largest spread of the sights", "°", 2),
    "declination_deg": Figure("declination by the model", "°", 2),
    "target_deg": Figure("bearing of the target", "°", 2),
    "clock_doubt_s": Figure("doubt of the clock", "s", 1),
    # Swing
    "headings": Figure("headings"),
    "widest_gap_deg": Figure("widest gap between headings", "°"),
    "coefficients_deg": Figure("coefficient", "°", 2),
    "largest_residual_deg": Figure("largest deviation left", "°", 2),
    "standard_error_deg": Figure("good to ± (95 %)", "°", 2, NORMAL_95),
    # Plane
    "lays": Figure("times laid on"),
    "end_for_end": Figure("turned end for end"),
    "azimuth_by_field_deg": Figure("azimuth by the compass", "°", 1),
    "eaves_azimuth_deg": Figure("azimuth along the eaves", "°", 1),
}


def figures_in_words(figures: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Names and values; columns of many numbers are left to the file."""
    told_with_another = {FIGURES[key].error for key in figures if key in FIGURES}
    rows: list[tuple[str, str]] = []
    for key, value in figures.items():
        figure = FIGURES.get(key) or Figure(key.replace("_", " "), "", -1)
        if key in told_with_another:
            continue
        if isinstance(value, Mapping):
            rows += [(f"{figure.name} {k.upper()}", _told(v, figure)) for k, v in value.items()]
        elif isinstance(value, bool):
            rows.append((figure.name, "yes" if value else "no"))
        elif isinstance(value, str):
            rows.append((figure.name, value))
        elif isinstance(value, (int, float)):
            rows.append((figure.name, _told(value, figure, figures.get(figure.error))))
    return rows


def _told(value: float, figure: Figure, error: float | None = None) -> str:
    if figure.decimals < 0:
        return f"{value:.4g}"
    unit = figure.unit if figure.unit.startswith("°") or not figure.unit else f" {figure.unit}"
    number = f"{value * figure.factor:.{figure.decimals}f}"
    if error is None:
        return f"{number}{unit}"
    return f"{number}{unit} ± {NORMAL_95 * error:.{figure.decimals}f}{unit} (95 %)"
