"""Weather of a typical year or of a measured stretch, as a record."""

from __future__ import annotations

from dataclasses import dataclass

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
    """Mean irradiance over equal intervals.

    Parameters
    ----------
    ghi_wm2, dni_wm2, dhi_wm2 : array, shape (N,)
        Global horizontal, direct normal, diffuse horizontal; NaN where unknown. [W/m2]
    step_min : int
        Length of an interval, at least one minute. [min]
    first : datetime64 or None
        Start of the first interval, UTC; None for a typical year, which starts on 1 January at
        00:00 local standard time and repeats.
    utc_offset_min : int
        Of that local standard time, east positive. [min]
    temperature_c, wind_ms : array, shape (N,), or None
        Of the air. [degC], [m/s]
    source : str
        In words.
    kind : str
        One of `logger.access.sky.SKY_KINDS`.
    sha256 : str
        Of the file it was read from, in hex; empty without one.
    notes : tuple of str
        What a reader must know of it.
    place : Site or None
        Where it was measured.
    """

    ghi_wm2: Floats
    dni_wm2: Floats
    dhi_wm2: Floats
    step_min: int = 60
    first: np.datetime64 | None = None
    utc_offset_min: int = 0
    temperature_c: Floats | None = None
    wind_ms: Floats | None = None
    source: str = "weather"
    kind: str = TYPICAL_YEAR
    sha256: str = ""
    notes: tuple[str, ...] = ()
    place: Site | None = None

    def __post_init__(self) -> None:
        names = ["ghi_wm2", "dni_wm2", "dhi_wm2"]
        names += [n for n in ("temperature_c", "wind_ms") if getattr(self, n) is not None]
        n = freeze_columns(self, names)
        if self.step_min < 1 or n == 0:
            raise ValueError("weather needs rows, each at least a minute long")
        if self.first is None and n * self.step_min != MINUTES_A_YEAR:
            raise ValueError(f"a typical year of {n} rows of {self.step_min} min is no 365 days")

    @property
    def sky(self) -> Sky:
        """What figures under this weather rest on."""
        return Sky(self.kind, self.source, self.sha256)

    @property
    def known(self) -> Floats:
        """1 where all three are known, else 0. Shape (N,)."""
        return floats(np.isfinite(self.ghi_wm2 + self.dni_wm2 + self.dhi_wm2))

    def rows_at(self, minute: Ints) -> tuple[Ints, Ints]:
        """Which row holds at each minute (UTC, since 1970), and a number for its interval.

        A typical year gives 29 February the weather of the 28th. The row is -1 outside a measured
        stretch; rows with a value that is not known count as outside.
        """
        if self.first is not None:
            start = int(self.first.astype("datetime64[m]").astype(np.int64))
            count = (minute - start) // self.step_min
            row = np.where((count >= 0) & (count < len(self.dni_wm2)), count, -1)
        else:
            local = minute + self.utc_offset_min
            count = local // self.step_min
            row = _minute_of_common_year(local) // self.step_min
        interval = count - (count[0] if len(count) else 0)
        return np.where((row >= 0) & (self.known[np.maximum(row, 0)] > 0), row, -1), interval


def _minute_of_common_year(local_minute: Ints) -> Ints:
    day = (local_minute // 1440).astype("datetime64[D]")
    year = day.astype("datetime64[Y]")
    of_year = (day - year.astype("datetime64[D]")).astype(np.int64)
    leap = ((year + 1).astype("datetime64[D]") - year.astype("datetime64[D]")).astype(int) == 366
    of_year = np.where(leap & (of_year >= 59), of_year - 1, of_year)
    return np.asarray(of_year * 1440 + local_minute % 1440, dtype=np.int64)
