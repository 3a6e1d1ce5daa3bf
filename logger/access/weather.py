"""Weather of a typical year, as a record."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from logger.access.sky import TYPICAL_YEAR, Sky
from logger.arrays import Floats, Ints, floats, freeze_columns
from logger.site import Site

MINUTES_A_YEAR = 365 * 1440
MONTH_DAYS = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
MONTH_STARTS: Ints = np.cumsum((0, *MONTH_DAYS[:-1]))
"""Days of a common year before each month."""


@dataclass(frozen=True, eq=False)
class Weather:
    """Mean irradiance over equal intervals of a typical year.

    It starts on 1 January at 00:00 local standard time and repeats.
    """

    # Global horizontal, direct normal, diffuse horizontal; NaN where unknown. [W/m2] Shape (N,).
    ghi_wm2: Floats
    dni_wm2: Floats
    dhi_wm2: Floats
    step_min: int = 60  # Length of an interval, at least one minute. [min]
    utc_offset_min: int = 0  # Of that local standard time, east positive. [min]
    # Of the air. [degC], [m/s] Shape (N,).
    temperature_c: Floats | None = None
    wind_ms: Floats | None = None
    source: str = "weather"  # In words
    kind: str = TYPICAL_YEAR  # As a `Sky` has it
    sha256: str = ""  # Of the file it was read from, in hex; empty without one
    notes: tuple[str, ...] = ()  # What a reader must know of it
    place: Site | None = None  # Where it was measured

    def __post_init__(self) -> None:
        names = ["ghi_wm2", "dni_wm2", "dhi_wm2"]
        names += [n for n in ("temperature_c", "wind_ms") if getattr(self, n) is not None]
        n = freeze_columns(self, names)
        if self.step_min < 1 or n == 0:
            raise ValueError("weather needs rows, each at least a minute long")
        if n * self.step_min != MINUTES_A_YEAR:
            raise ValueError(f"a typical year of {n} rows of {self.step_min} min is no 365 days")

    @property
    def sky(self) -> Sky:
        """What figures under this weather rest on."""
        return Sky(self.kind, self.source, self.sha256 or None)

    @property
    def known(self) -> Floats:
        """1 where all three are known, else 0. Shape (N,)."""
        return floats(np.isfinite(self.ghi_wm2 + self.dni_wm2 + self.dhi_wm2))

    def rows_at(self, minute: Ints) -> tuple[Ints, Ints]:
        """Which row holds at each minute (UTC, since 1970), and a number for its interval.

        The row is -1 where a value is not known.
        """
        import pandas as pd

        local = minute + self.utc_offset_min
        count = local // self.step_min
        row = minute_of_year(pd.DatetimeIndex(local.astype("datetime64[m]"))) // self.step_min
        return np.where(self.known[row] > 0, row, -1), count - (count[0] if len(count) else 0)


def minute_of_year(index: Any) -> Ints:
    """Minute of a common year of each time of an index; 29 February counts as the 28th."""
    month, day = index.month.to_numpy(), index.day.to_numpy()
    of_year = MONTH_STARTS[month - 1] + day - 1 - ((month == 2) & (day == 29))
    return np.asarray(of_year * 1440 + index.hour.to_numpy() * 60 + index.minute.to_numpy())
