"""A recipe: all that decides a point's answer beside its recordings and what the job says of it."""

from __future__ import annotations

import datetime as dt
import hashlib
import os
from collections.abc import Mapping
from dataclasses import dataclass, field, fields, replace
from functools import lru_cache
from pathlib import Path
from typing import Any

from logger.access import Plane, Rules, SiteYear, Weather
from logger.access.weather_files import LARGEST_FILE, read_weather
from logger.errors import InputError
from logger.files import file_sha256, json_text, read_within, temporary_folder
from logger.geomagnetism import MagneticModel, read_magnetic_model
from logger.job import Job, JobWeather, Point, file_of, set_table
from logger.job.folder import fresh
from logger.job.job_file import told
from logger.outputs import write_in_job
from logger.settings import Settings, changed, written
from logger.site import Site, distance_km


@dataclass(frozen=True)
class WeatherSource:
    """A file of weather, known by its content."""

    path: Path
    sha256: str  # Of all its bytes, in hex

    @classmethod
    def of(cls, path: Path) -> WeatherSource:
        """The file as it is now."""
        content = read_within(path, LARGEST_FILE, "weather file")
        return cls(path, hashlib.sha256(content).hexdigest())


@dataclass(frozen=True)
class Recipe:
    """What a point's answer rests on, whichever command asks for it."""

    site: Site
    planes: tuple[Plane, ...]  # At least one
    settings: Settings = field(default_factory=Settings)
    weather: WeatherSource | None = None  # None: no weather is known
    timezone: str = ""  # Of clock times; empty: apparent solar time alone
    rules: Rules = field(default_factory=Rules)  # Of a programme or permit
    date: dt.date | None = None  # Of the sweep, where a recording does not tell
    magnetic_model: MagneticModel | None = None  # Of the file that the setting names

    def as_dict(self) -> dict[str, Any]:
        """What the hash is taken of: where a file lies does not count."""
        said = dict(vars(self))
        said["weather"] = self.weather.sha256 if self.weather else None
        said["magnetic_model"] = self.magnetic_model.sha256 if self.magnetic_model else None
        said["date"] = self.date.isoformat() if self.date else None
        return said

    @property
    def sha256(self) -> str:
        """Alike for recipes that give the same answers."""
        return hashlib.sha256(json_text(self.as_dict()).encode()).hexdigest()


@dataclass(frozen=True)
class Overrides:
    """What a command was told in place of what the job says."""

    settings: Mapping[str, Any] = field(default_factory=dict)  # By name, as `changed` takes them
    planes: tuple[Plane, ...] = ()
    weather: Path | None = None
    date: dt.date | None = None


NOTHING = Overrides()

DEFAULT = "default"  # In place of a setting's value: as if it had never been set


def recipe_of(job: Job, overrides: Overrides = NOTHING) -> Recipe:
    """What the job's answers rest on, and what was told instead.

    Parameters
    ----------
    job : Job
    overrides : Overrides, optional
        Settings by name, planes, a weather file, a date in place of the job's.

    Raises
    ------
    InputError, UsageError
        Weather or magnetic model cannot be read or is another file than the job's; a setting is
        unknown or outside its limits.
    """
    recipe = Recipe(
        site=job.site,
        planes=job.planes or (default_plane(job.site),),
        settings=job.settings,
        weather=_weather_of(job) if overrides.weather is None else None,
        timezone=job.timezone,
        rules=job.rules,
    )
    recipe = overridden(recipe, overrides)
    return replace(recipe, magnetic_model=magnetic_model_of(job, recipe.settings))


def magnetic_model_of(job: Job, settings: Settings | None = None) -> MagneticModel | None:
    """The newer magnetic model that the settings name; None for the one built in."""
    name = (settings or job.settings).magnetic_model
    return read_magnetic_model(file_of(job, name)) if name else None


def at_point(recipe: Recipe, point: Point) -> Recipe:
    """The recipe with the planes that the point stands for; all where it names none of them."""
    own = tuple(plane for plane in recipe.planes if plane.name in point.planes)
    return replace(recipe, planes=own or recipe.planes)


def recipe_at(site: Site, overrides: Overrides = NOTHING) -> Recipe:
    """What answers rest on where there is no job."""
    return overridden(Recipe(site, (default_plane(site),)), overrides)


def overridden(recipe: Recipe, overrides: Overrides) -> Recipe:
    """The recipe with what a command was told in place."""
    return replace(
        recipe,
        settings=changed(recipe.settings, overrides.settings),
        planes=overrides.planes or recipe.planes,
        weather=WeatherSource.of(overrides.weather) if overrides.weather else recipe.weather,
        date=overrides.date,
    )


def _weather_of(job: Job) -> WeatherSource | None:
    if job.weather is None:
        return None
    found = WeatherSource.of(file_of(job, job.weather.file))
    if found.sha256 != job.weather.sha256:
        raise InputError(
            "is another file than the one that the job's weather was set to",
            str(found.path),
            hint=f"put the old file back, or horizon-logger weather JOB {job.weather.file}",
        )
    return found


def set_settings(job: Job, changes: Mapping[str, str]) -> Job:
    """Set settings of a job by name, as ``--set`` takes them; ``default`` takes one back."""
    default = Settings()
    back = [name for name, value in changes.items() if value == DEFAULT]
    changed(default, {name: written(getattr(default, name, "")) for name in back})
    set_to = {name: value for name, value in changes.items() if name not in back}
    now = changed(job.settings, set_to)
    values: dict[str, Any] = dict.fromkeys(back)
    if "tracing_bias_deg" in changes:  # another value is from elsewhere
        values["tracing_bias_from"] = None
    for name in set_to:
        value = getattr(now, name)
        values[name] = written(value) if value is None else value  # TOML has no word for none
    return set_table(job.folder, "settings", values)


# A service that was asked for the site to 0.01 degrees answers for no place further away. [km]
SAME_PLACE_KM = 5.0


def set_weather(job: Job, name: str, content: bytes, **about: Any) -> Weather:
    """Keep weather in the job, byte for byte, and let its answers rest on it.

    Nothing is kept that cannot be read. What is told about it are fields of `JobWeather`.
    """
    with temporary_folder() as folder:
        trial = folder / name
        trial.write_bytes(content)
        try:
            weather = read_weather(trial)
        except InputError as error:
            where = (error.where or "").replace(f"{trial.parent}{os.sep}", "")
            raise InputError(error.what, where, error.hint) from error
    if about and weather.place is not None:
        away_km = distance_km(weather.place, job.site)
        if away_km > SAME_PLACE_KM:
            raise InputError(f"the answer is for a place {away_km:.0f} km from the site", name)
    path = job.folder / "weather" / name
    if path.is_file() and file_sha256(path) != weather.sha256:
        path = fresh(path)  # what earlier answers rest on stays
    write_in_job(job.folder, path, content)
    kept = JobWeather(f"weather/{path.name}", weather.sha256, **about)
    nothing = dict.fromkeys(one.name for one in fields(JobWeather))
    set_table(job.folder, "weather", nothing | told(kept))
    return weather


def default_plane(site: Site) -> Plane:
    """What a job without planes is judged by: tilt equal to the latitude, facing the equator.

    Common practice, no source; on the equator it faces south.
    """
    tilt_deg = min(abs(site.latitude_deg), 90.0)
    return Plane("plane tilted by the latitude", tilt_deg, site.equatorward_azimuth_deg)


@lru_cache(maxsize=1)  # one holds a hundred megabytes; points come job by job
def year_of(recipe: Recipe) -> SiteYear:
    """Sun, light and planes of a recipe, shared by all of its points."""
    weather = read_weather(recipe.weather.path) if recipe.weather else None
    return SiteYear(
        recipe.site,
        recipe.planes,
        recipe.settings,
        weather,
        rules=recipe.rules,
        timezone=recipe.timezone or None,
    )
