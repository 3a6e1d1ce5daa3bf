"""Types of what is typed behind options, and values that many commands take."""

from __future__ import annotations

import math
import re
from pathlib import Path
from typing import Any

import click

from logger.errors import UsageError
from logger.places import angle_of


class Angle(click.ParamType):  # type: ignore[type-arg]
    """Degrees of latitude ("NS") or longitude ("EW"), as people write them."""

    name = "degrees"

    def __init__(self, letters: str) -> None:
        self.letters = letters

    def convert(self, value: Any, param: Any, ctx: Any) -> float:
        """Degrees, or a usage error with how to write them."""
        if isinstance(value, float):
            return value
        try:
            return angle_of(value, self.letters)
        except UsageError as error:
            self.fail(f"{error}; {error.hint}" if error.hint else str(error), param, ctx)


class Address(click.ParamType):  # type: ignore[type-arg]
    """Where to listen: localhost, or an IPv4 address by its number, and a port."""

    name = "address"

    def convert(self, value: Any, param: Any, ctx: Any) -> tuple[str, int]:
        """Host and port, or a usage error."""
        import ipaddress

        host, _, port = str(value).rpartition(":")
        try:
            host = "127.0.0.1" if host in ("", "localhost") else str(ipaddress.IPv4Address(host))
            if not (port.isdecimal() and int(port) <= 65535):
                raise ValueError
        except ValueError:
            self.fail(f"{value!r} is not ADDRESS:PORT, such as 0.0.0.0:8000", param, ctx)
        return host, int(port)


class Number(click.FloatRange):
    """A finite number within limits."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """A float, or a usage error."""
        found = super().convert(value, param, ctx)
        return found if math.isfinite(found) else self.fail("not a finite number", param, ctx)


class Numbers(click.ParamType):  # type: ignore[type-arg]
    """Numbers with commas between, as their metavar has them: FROM,TO or NAME=TILT,AZIMUTH.

    What stands in brackets may be left out, dots stand for more of the same; with an equals sign
    the value is the name before it and the numbers behind.
    """

    name = "numbers"

    def __init__(self, metavar: str, example: str, *, above_0: bool = False) -> None:
        self.metavar, self.example, self.above_0 = metavar, example, above_0
        least, most = (len(re.findall("[A-Z_]+", t)) for t in (metavar.split("[")[0], metavar))
        most = 1000 if metavar.endswith("...") else most
        self.named = "=" in metavar
        self.counts = range(least - self.named, most - self.named + 1)

    def get_metavar(self, param: click.Parameter, ctx: click.Context) -> str:
        """In the help, where the option tells none itself."""
        return self.metavar

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """Split at the last equals sign, and at the commas."""
        if isinstance(value, tuple):
            return value
        text, name = str(value), ""
        if self.named:
            name, equals, text = text.rpartition("=")
            name, text = (name, text) if equals else (text, "")
        try:
            found = tuple(float(part) for part in text.split(",")) if text else ()
        except ValueError:
            found = (math.nan,)
        fine = len(found) in self.counts and all(abs(x) <= 10_000 for x in found)
        fine = fine and not (self.above_0 and min(found) <= 0.0)
        if not fine or (self.named and not name.strip()):
            self.fail(f"{value!r} is not {self.metavar}, such as {self.example}", param, ctx)
        return (name.strip(), found) if self.named else found


class JobFolder(click.ParamType):  # type: ignore[type-arg]
    """A job, read from the folder that is named."""

    name = "job"

    def convert(self, value: Any, param: Any, ctx: Any) -> Any:
        """The `Job`."""
        from logger.job import read_job

        return read_job(Path(value))


class ExistingPoint(click.ParamType):  # type: ignore[type-arg]
    """A point of the command's JOB, as the job spells it."""

    name = "point"

    def convert(self, value: Any, param: Any, ctx: Any) -> str:
        """Its name, or a usage error with those that come near."""
        from logger.job import existing_point

        return existing_point(ctx.params["job"], value)


PLACE = Numbers("EAST,NORTH,UP", "4.5,-2,0")
RECTANGLE = Numbers("WIDTH,HEIGHT", "8,5", above_0=True)
FILE = click.Path(path_type=Path)
FILE_TO_WRITE = click.Path(path_type=Path, dir_okay=False)
FOLDER = click.Path(path_type=Path, file_okay=False)
JOB_FOLDER = click.argument("job", type=FILE)
JOB = click.argument("job", type=JobFolder())
POINT = click.argument("point", type=ExistingPoint())
DAY = click.DateTime(["%Y-%m-%d"])
