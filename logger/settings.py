"""What a surveyor may set: each setting's default, unit, limits and meaning, in this one place.

A setting stands here only where a surveyor has a reason to change it; every other number of the
program is a named constant beside its use. ``[settings]`` of a job and ``--set NAME=VALUE`` of any
command take these names.
"""

from __future__ import annotations

import difflib
import math
from collections.abc import Mapping
from dataclasses import Field, dataclass, field, fields, replace
from typing import Any

from logger.errors import UsageError

TRANSPOSITIONS = ("haydavies", "isotropic")
YES, NO, NONE = ("yes", "true", "on"), ("no", "false", "off"), "none"


def _setting(
    default: Any,
    meaning: str,
    unit: str = "",
    limits: tuple[float, float] | None = None,
    **more: Any,
) -> Any:
    return field(
        default=default, metadata={"meaning": meaning, "unit": unit, "limits": limits, **more}
    )


@dataclass(frozen=True)
class Settings:
    """Everything a surveyor may set, beside the sky, the planes and the job's own facts.

    Raises
    ------
    UsageError
        A value is outside its limits; the message names the setting and the limits.
    """

    year: int = _setting(2026, "Year of the sun's positions", limits=(1950, 2099))
    solar_window: tuple[float, ...] = _setting(
        (9.0, 15.0),
        "Start and end of the solar window in apparent solar time",
        "h",
        (0, 24),
        counts=(2,),
    )
    reflectance: tuple[float, ...] = _setting(
        (0.2,), "Ground reflectance, one number or twelve by month", limits=(0, 1), counts=(1, 12)
    )
    transposition: str = _setting(
        "haydavies", "How the sky's diffuse light reaches a tilted plane", choices=TRANSPOSITIONS
    )
    turbidity: float | None = _setting(
        None,
        "Linke turbidity for the whole year; none takes the table of months and places",
        limits=(1, 15),
    )
    draws: int = _setting(1000, "Random horizons used for the 95 % interval", limits=(0, 100_000))
    seed: int = _setting(1, "Seed of the random horizons", limits=(0, 2**31))
    tracing_bias_deg: float = _setting(
        0.5,
        "How far an observer traces above or below the true edge, one standard deviation",
        "deg",
        (0, 5),
    )
    tracing_bias_from: str = _setting(
        "", "Where the tracing bias is from; empty: assumed, no source"
    )
    tremor_deg: float = _setting(
        0.3,
        "Hand tremor where two passes do not show it, one standard deviation",
        "deg",
        (0.01, 10),
    )
    use_gyro: bool = _setting(True, "Use the angular rate where the board sends it")
    declination_deg: float | None = _setting(
        None, "Declination, east positive; none takes the magnetic model's", "deg", (-180, 180)
    )
    magnetic_model: str = _setting(
        "",
        "File of a newer magnetic model, in the job folder; empty takes the one built in",
    )
    disturbance_share: float = _setting(
        0.06,
        "Change of the magnetic field's strength at which a sample is not used, as a share",
        limits=(0.005, 1),
    )
    disturbance_dip_deg: float = _setting(
        3.0, "Change of the magnetic field's dip at which a sample is not used", "deg", (0.1, 90)
    )
    temperature_coefficient: float = _setting(
        -0.0035,
        "Change of the modules' power with cell temperature, as a share",
        "1/°C",
        (-0.02, 0),
    )
    system_losses: float = _setting(
        0.14, "Share lost to soiling, wiring, mismatch and the like", limits=(0, 0.9)
    )
    inverter_efficiency: float = _setting(
        0.96, "Nominal efficiency of the inverter", limits=(0.5, 1)
    )
    dc_ac_ratio: float = _setting(1.2, "Rated DC power over the inverter's", limits=(0.1, 5))

    def __post_init__(self) -> None:
        for one in fields(self):
            _check(one, getattr(self, one.name))
        if not self.solar_window[0] < self.solar_window[1]:
            raise UsageError("the start must come before the end", "solar_window", hint="9,15")

    @property
    def monthly_reflectance(self) -> tuple[float, ...]:
        """Ground reflectance of the twelve months."""
        return self.reflectance * 12 if len(self.reflectance) == 1 else self.reflectance

    @property
    def tracing_words(self) -> str:
        """The tracing bias that intervals allow for, and where it is from."""
        came = f"from {self.tracing_bias_from}" if self.tracing_bias_from else "assumed, no source"
        return f"tracing bias {self.tracing_bias_deg:g}° (one standard deviation; {came})"


def changed(settings: Settings, changes: Mapping[str, Any]) -> Settings:
    """Settings with some values replaced by name, or by text as ``--set NAME=VALUE`` has it."""
    known = {one.name: one for one in fields(Settings)}
    values = {}
    for name, value in changes.items():
        if name not in known:
            near = difflib.get_close_matches(name, known, n=1, cutoff=0.5)
            hint = f"{near[0]}" if near else "horizon-logger settings JOB lists them"
            raise UsageError(f"there is no setting {name!r}", hint=hint)
        values[name] = _read(known[name], value)
    if "tracing_bias_deg" in values:
        values.setdefault("tracing_bias_from", "")  # another value is from elsewhere
    return replace(settings, **values)


def written(value: Any) -> str:
    """A value as ``--set NAME=VALUE`` takes it."""
    if value is None:
        return NONE
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, tuple):
        return ",".join(f"{v:g}" for v in value)
    return f"{value:g}" if isinstance(value, float) else str(value)


def _read(one: Field[Any], value: Any) -> Any:
    text, default, limits = str(value).strip(), one.default, one.metadata["limits"]
    if isinstance(default, bool):
        if isinstance(value, bool):
            return value
        if text.lower() in YES + NO:
            return text.lower() in YES
        raise UsageError(f"{text!r} is neither yes nor no", one.name, hint="yes or no")
    if isinstance(default, str):
        if not isinstance(value, str):
            raise UsageError(f"{text!r} is no text", one.name, hint="text in quotes")
        return text
    if default is None and (value is None or text.lower() == NONE):
        return None
    if isinstance(value, (list, tuple)):
        parts = [str(v) for v in value]
        if not isinstance(default, tuple):
            what = f"takes one value, not a list of {len(parts)}"
            raise UsageError(what, one.name, hint=f"such as {written(default)}")
    else:
        parts = text.split(",") if isinstance(default, tuple) else [text]
    numbers = []
    for part in parts:
        try:
            numbers.append(int(part) if isinstance(default, int) else float(part))
        except ValueError as error:
            kind = "a whole number" if isinstance(default, int) else "a number"
            wanted = f"{kind} from {limits[0]:g} to {limits[1]:g}, such as {written(default)}"
            raise UsageError(f"{part.strip()!r} is not {kind}", one.name, hint=wanted) from error
    return tuple(numbers) if isinstance(default, tuple) else numbers[0]


def _check(one: Field[Any], value: Any) -> None:
    """Refuse a value of the wrong kind, count, choice or size."""
    choices, limits, counts = (one.metadata.get(key) for key in ("choices", "limits", "counts"))
    hint = f"such as {written(one.default)}"
    if choices and value not in choices:
        raise UsageError(f"{value!r} is none of {', '.join(choices)}", one.name, hint)
    if counts and len(value) not in counts:
        wanted = " or ".join(map(str, counts))
        what = f"{written(value)!r} holds {len(value)} numbers, not {wanted}"
        raise UsageError(what, one.name, hint)
    if limits is None or value is None:
        return
    for number in value if counts else (value,):
        if not (math.isfinite(number) and limits[0] <= number <= limits[1]):
            what = f"{number:g} is outside {limits[0]:g} to {limits[1]:g}"
            raise UsageError(what, one.name, hint)
