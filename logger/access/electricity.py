"""Electrical energy by stated assumptions: pvlib's PVWatts model and Faiman's cell temperature.

Faiman 2008 (Progress in Photovoltaics 16:307-315): ``T = T_air + G / (25 + 6.84 wind)``. PVWatts
(Dobos 2014, NREL/TP-6A20-62641): DC power goes with irradiance and falls with temperature; flat
losses; an inverter with its part-load curve. Reflection off the glass, spectrum, and what partial
shade does to strings of cells are not modelled: a string with one shaded module can lose far more
than the light it misses.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from logger.arrays import Floats, floats
from logger.settings import Settings

NOTE = (
    "electrical effects of partial shade on strings are not modelled: "
    "the kWh lost are those of the light alone"
)


AIR_TEMPERATURE_C = 20.0
WIND_MS = 1.0
"""Where the weather does not tell. [degC], [m/s]"""


def assumptions(settings: Settings, weather_temperature: bool) -> dict[str, Any]:
    """What electrical figures rest on, for the result."""
    return {
        "temperature_coefficient": settings.temperature_coefficient,
        "losses": settings.system_losses,
        "inverter_efficiency": settings.inverter_efficiency,
        "dc_ac_ratio": settings.dc_ac_ratio,
        "air_temperature_c": None if weather_temperature else AIR_TEMPERATURE_C,
        "wind_ms": None if weather_temperature else WIND_MS,
        "model": "PVWatts, cell temperature by Faiman",
        "note": NOTE,
    }


def power_w(
    irradiance_wm2: Floats,
    size_kwp: float,
    settings: Settings,
    air_temperature_c: Floats | None = None,
    wind_ms: Floats | None = None,
) -> Floats:
    """AC power at each instant. [W]"""
    import pvlib

    air = AIR_TEMPERATURE_C if air_temperature_c is None else air_temperature_c
    wind = WIND_MS if wind_ms is None else wind_ms
    cell = pvlib.temperature.faiman(irradiance_wm2, air, wind)
    rated_w = size_kwp * 1000.0
    dc = pvlib.pvsystem.pvwatts_dc(
        irradiance_wm2, cell, rated_w, settings.temperature_coefficient
    ) * (1.0 - settings.system_losses)
    # pvlib rates the inverter by its DC input.
    limit = rated_w / settings.dc_ac_ratio / settings.inverter_efficiency
    return floats(np.maximum(pvlib.inverter.pvwatts(dc, limit, settings.inverter_efficiency), 0.0))
