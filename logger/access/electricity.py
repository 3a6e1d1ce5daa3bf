"""Electrical energy by stated assumptions: pvlib's PVWatts model and Faiman's cell temperature.

Faiman 2008 (Progress in Photovoltaics 16:307-315): ``T = T_air + G / (25 + 6.84 wind)``. PVWatts
(Dobos 2014, NREL/TP-6A20-62641): DC power goes with irradiance and falls with temperature; flat
losses; an inverter with its part-load curve. Reflection off the glass, spectrum, and what partial
shade does to strings of cells are not modelled: a string with one shaded module can lose far more
than the light it misses.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from logger.arrays import Floats, floats
from logger.errors import UsageError

NOTE = (
    "electrical effects of partial shade on strings are not modelled: "
    "the kWh lost are those of the light alone"
)


@dataclass(frozen=True)
class SystemAssumptions:
    """What stands between light and the meter."""

    # Relative change of power with cell temperature. [1/degC]
    temperature_coefficient: float = -0.0035
    # Flat share lost in soiling, wiring, mismatch and the like; PVWatts takes 0.14
    losses: float = 0.14
    inverter_efficiency: float = 0.96  # Nominal; PVWatts takes 0.96
    dc_ac_ratio: float = 1.2  # Rated DC power over the inverter's
    # Where the weather does not tell. [degC], [m/s]
    air_temperature_c: float = 20.0
    wind_ms: float = 1.0

    def __post_init__(self) -> None:
        for value, low, high, what in (
            (self.temperature_coefficient, -0.02, 0.0, "temperature coefficient"),
            (self.losses, 0.0, 1.0, "share of losses"),
            (self.inverter_efficiency, 0.5, 1.0, "efficiency of the inverter"),
            (self.dc_ac_ratio, 0.1, 10.0, "ratio of DC to AC power"),
            (self.air_temperature_c, -80.0, 70.0, "temperature of the air"),
            (self.wind_ms, 0.0, 60.0, "wind"),
        ):
            if not (math.isfinite(value) and low <= value <= high):
                raise UsageError(f"{what} {value:g} is outside {low:g} to {high:g}")


def power_w(
    irradiance_wm2: Floats,
    size_kwp: float,
    system: SystemAssumptions,
    air_temperature_c: Floats | None = None,
    wind_ms: Floats | None = None,
) -> Floats:
    """AC power at each instant. [W]"""
    import pvlib

    air = system.air_temperature_c if air_temperature_c is None else air_temperature_c
    wind = system.wind_ms if wind_ms is None else wind_ms
    cell = pvlib.temperature.faiman(irradiance_wm2, air, wind)
    rated_w = size_kwp * 1000.0
    dc = pvlib.pvsystem.pvwatts_dc(
        irradiance_wm2, cell, rated_w, system.temperature_coefficient
    ) * (1.0 - system.losses)
    # pvlib rates the inverter by its DC input.
    limit = rated_w / system.dc_ac_ratio / system.inverter_efficiency
    return floats(np.maximum(pvlib.inverter.pvwatts(dc, limit, system.inverter_efficiency), 0.0))
