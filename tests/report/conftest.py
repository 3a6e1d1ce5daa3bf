"""A documented result, by hand."""

from __future__ import annotations

from typing import Any

import pytest


def share(value: float | None) -> dict[str, float | None]:
    if value is None:
        return {"value": None, "low": None, "high": None}
    return {"value": value, "low": value - 0.04, "high": min(1.0, value + 0.03)}


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
