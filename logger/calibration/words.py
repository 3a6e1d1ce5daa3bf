"""A calibration's figures in words and units, for a reader who knows no key names."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from logger.checks import NORMAL_95


@dataclass(frozen=True)
class _Figure:
    """How a number is told: its name, unit, decimals, and what it is multiplied by for the unit."""

    name: str
    unit: str = ""
    decimals: int = 0
    factor: float = 1.0


_FIGURES = {
    # Compass
    "samples": _Figure("samples"),
    "seconds_s": _Figure("time recorded", "s"),
    "heading_error_deg": _Figure("expected heading error, root mean square", "°", 2),
    "heading_error_95_deg": _Figure("the same, not passed with 95 % probability", "°", 2),
    "level_error_deg": _Figure("expected level error, root mean square", "°", 2),
    "strength_ut": _Figure("field strength found", "µT", 1),
    "dip_deg": _Figure("dip of the field found", "°", 1),
    "model_strength_ut": _Figure("field strength by the earth's model", "µT", 1),
    "model_dip_deg": _Figure("dip of the field by the earth's model", "°", 1),
    "hard_iron_ut": _Figure("hard iron taken out", "µT", 1),
    "soft_iron_share": _Figure("soft iron taken out", "%", 1, 100.0),
    "residual_share": _Figure("scatter of the field strength", "%", 2, 100.0),
    "residual_smoothed_share": _Figure("the same over half a second", "%", 2, 100.0),
    "dip_residual_deg": _Figure("scatter of the dip", "°", 2),
    "force_residual_g": _Figure("scatter of the weight felt", "mg", 1, 1000.0),
    "side_gap_deg": _Figure("widest gap between sides turned down", "°"),
    "field_gap_deg": _Figure("widest gap between sides turned to the field", "°"),
    "temperature_c": _Figure("temperature of the board", "°C", 1),
    # Level
    "pairs": _Figure("pairs of both faces"),
    "reversals": _Figure("pairs turned end for end"),
    "index_deg": _Figure("index error", "°", 2),
    "index_error_deg": _Figure("index error good to ± (95 %)", "°", 2, NORMAL_95),
    "collimation_deg": _Figure("collimation error", "°", 2),
    "collimation_error_deg": _Figure("collimation error good to ± (95 %)", "°", 2, NORMAL_95),
    "pitch_offset_deg": _Figure("pitch shown when level", "°", 2),
    "pitch_offset_error_deg": _Figure("pitch good to ± (95 %)", "°", 2, NORMAL_95),
    "mark_azimuth_deg": _Figure("azimuth of the mark", "°", 1),
    "mark_azimuth_error_deg": _Figure("azimuth good to ± (95 %)", "°", 1, NORMAL_95),
    "mark_elevation_deg": _Figure("elevation of the mark", "°", 2),
    "hold_s": _Figure("shortest hold", "s", 1),
    "with_gyro": _Figure("gyro used"),
    "mark_is_near": _Figure("mark near enough to move with the hand"),
    # Bearing
    "sights": _Figure("sights"),
    "heading_deg": _Figure("from the compass to true north", "°", 2),
    "residual_deg": _Figure("of that, beside the declination", "°", 2),
    "standard_error_deg": _Figure("good to ± (95 %)", "°", 2, NORMAL_95),
    "largest_spread_deg": _Figure("largest spread of the sights", "°", 2),
    "declination_deg": _Figure("declination by the model", "°", 2),
    "target_deg": _Figure("azimuth of the landmark", "°", 2),
    "clock_doubt_s": _Figure("doubt of the clock", "s", 1),
    # Swing
    "headings": _Figure("headings"),
    "widest_gap_deg": _Figure("widest gap between headings", "°"),
    "coefficients_deg": _Figure("coefficient", "°", 2),
    "largest_residual_deg": _Figure("largest deviation left", "°", 2),
    # Plane
    "lays": _Figure("times laid on"),
    "end_for_end": _Figure("turned end for end"),
    "azimuth_by_field_deg": _Figure("azimuth by the compass", "°", 1),
    "eaves_azimuth_deg": _Figure("azimuth along the eaves", "°", 1),
}

_ERRORS = {
    "index_deg": "index_error_deg",
    "collimation_deg": "collimation_error_deg",
    "pitch_offset_deg": "pitch_offset_error_deg",
    "mark_azimuth_deg": "mark_azimuth_error_deg",
    "heading_deg": "standard_error_deg",
}
"""Figures that are told together with their standard error."""

_ENDINGS = {
    "_deg_s": "°/s",
    "_deg": "°",
    "_ut": "µT",
    "_mg": "mg",
    "_g": "g",
    "_s": "s",
    "_h": "h",
    "_m": "m",
    "_c": "°C",
}
"""Units of figures without a name here, by the end of their key."""


def figures_in_words(figures: Mapping[str, Any], lead: str = "") -> list[tuple[str, str]]:
    """Names and values; columns of many numbers are left to the file."""
    told_with_another = {_ERRORS[key] for key in figures if key in _ERRORS}
    rows: list[tuple[str, str]] = []
    for key, value in figures.items():
        figure = _FIGURES.get(key) or _unnamed(key)
        label = f"{lead}{figure.name}"
        if key in told_with_another:
            continue
        if isinstance(value, Mapping):
            if key == "coefficients_deg":
                rows += [(f"{label} {k.upper()}", _told(v, figure)) for k, v in value.items()]
            else:
                rows += figures_in_words(value, f"{label}: ")
        elif isinstance(value, bool):
            rows.append((label, "yes" if value else "no"))
        elif isinstance(value, str):
            rows.append((label, value))
        elif isinstance(value, (int, float)):
            error = figures.get(_ERRORS.get(key, ""))
            rows.append((label, _told(value, figure, error)))
    return rows


def _unnamed(key: str) -> _Figure:
    ending = next((e for e in _ENDINGS if key.endswith(e)), "")
    name = key.removesuffix(ending).replace("_", " ")
    return _Figure(name, _ENDINGS.get(ending, ""), -1)


def _told(value: float, figure: _Figure, error: float | None = None) -> str:
    tight = figure.unit.startswith("°")
    unit = figure.unit if tight or not figure.unit else f" {figure.unit}"
    if figure.decimals < 0:
        return f"{value:.4g}{unit}"
    number = f"{value * figure.factor:.{figure.decimals}f}"
    if error is None:
        return f"{number}{unit}"
    return f"{number}{unit} ± {NORMAL_95 * error:.{figure.decimals}f}{unit} (95 %)"
