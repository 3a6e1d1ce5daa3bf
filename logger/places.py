"""Places as people write them: degrees in several spellings, and whether a time zone fits."""

from __future__ import annotations

import re
from functools import cache
from zoneinfo import ZoneInfo

from logger.errors import UsageError
from logger.site import Site, distance_km

NEAR_KM = 1500.0  # So far from its zone's own town a place is not doubted
FAR_KM = 4500.0  # No place of a zone lies so far from the zone's own town
DIRECTIONS = (
    "north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west"
)  # fmt: skip
HOW = "46.05, 46,05, 46.05N or 46°03'00\"N"

_ANGLE = re.compile(
    r"""\s*(?P<lead>[-+−NSEW]?)\s*
    (?P<deg>\d{1,3}(?:[.,]\d+)?)\s*
    (?:[°ºd]\s*(?:(?P<min>\d{1,2}(?:[.,]\d+)?)\s*['′’m]\s*
    (?:(?P<sec>\d{1,2}(?:[.,]\d+)?)\s*(?:["″”s]|'')\s*)?)?)?
    (?P<tail>[NSEW]?)\s*""",
    re.IGNORECASE | re.VERBOSE,
)
_TOWN = re.compile(r"([+-])(\d{2})(\d{2})(\d{2})?([+-])(\d{3})(\d{2})(\d{2})?")


def angle_of(text: str, letters: str) -> float:
    """Degrees of latitude (letters "NS") or longitude ("EW"), as people write them."""
    found = _ANGLE.fullmatch(text)
    if not found:
        raise UsageError(f"{text!r} is no angle", hint=HOW.replace("N", letters[0]))
    lead, tail = found["lead"].upper(), found["tail"].upper()
    parts = [float((found[name] or "0").replace(",", ".")) for name in ("deg", "min", "sec")]
    if max(parts[1:]) >= 60 or (found["min"] and parts[0] % 1) or (found["sec"] and parts[1] % 1):
        raise UsageError(f"{text!r}: minutes and seconds end at 60, and only the last has decimals")
    if lead and tail:
        raise UsageError(
            f"{text!r} has a sign or letter in front and one behind", hint="one of them"
        )
    side = lead + tail
    if side.isalpha() and side not in letters:
        other = "longitude" if letters == "NS" else "latitude"
        raise UsageError(f"{text!r} is a {other}", hint="are latitude and longitude swapped?")
    size = parts[0] + parts[1] / 60 + parts[2] / 3600
    return -size if side in ("-", "−", "S", "W") else size


def known_timezone(name: str) -> str:
    """The name itself if the system knows the zone; empty stays empty."""
    if name:
        try:
            ZoneInfo(name)
        except (ValueError, OSError, KeyError) as error:
            raise UsageError(
                f"there is no time zone {name!r}", hint="IANA names, such as Europe/Lisbon"
            ) from error
    return name


def doubt(site: Site, timezone: str) -> str:
    """What speaks against a place in its time zone, with the place that may be meant, or nothing.

    The zone's own town is the one that the time zone database lists for it (``zone.tab``).
    """
    town = _town_of(timezone)
    if town is None:
        return ""
    north, east = site.latitude_deg, site.longitude_deg
    away_km = distance_km(site, town)
    others = [Site(-north, east), Site(north, -east), Site(-north, -east)]
    if abs(east) <= 90:
        others.append(Site(east, north))
    meant = min(others, key=lambda other: distance_km(other, town))
    said = f"{place_words(site)} is {away_km:.0f} km from the town of {timezone}"
    if away_km > NEAR_KM and distance_km(meant, town) < away_km / 3:
        return f"{said}. Is it {place_words(meant)}?"
    return f"{said}." if away_km > FAR_KM else ""


def place_words(site: Site) -> str:
    """Such as "46.05° N, 14.51° E"."""
    north, east = site.latitude_deg, site.longitude_deg
    return (
        f"{abs(north):g}° {'N' if north >= 0 else 'S'}, {abs(east):g}° {'E' if east >= 0 else 'W'}"
    )


def direction(azimuth_deg: float) -> str:
    """The nearest of eight directions."""
    return DIRECTIONS[round(azimuth_deg / 45.0) % 8]


@cache
def _town_of(timezone: str) -> Site | None:
    """A zone's own town."""
    from importlib.resources import files

    for line in files("tzdata.zoneinfo").joinpath("zone.tab").read_text("utf-8").splitlines():
        columns = line.split("\t")
        if timezone in columns[2:3] and (found := _TOWN.fullmatch(columns[1])):
            north, east = (
                float(sign + "1") * (int(degrees) + int(minutes) / 60 + int(seconds or 0) / 3600)
                for sign, degrees, minutes, seconds in (found.groups()[:4], found.groups()[4:])
            )
            return Site(north, east)
    return None
