"""Typical years from open data services, asked for only when a surveyor says so.

What is asked of whom is a record that is told before anything is sent; what comes back is kept as
it is and read by `logger.access.read_weather`, through pvlib. PVGIS is asked first, without its own
horizon: the survey's takes its place. Where it has no data, NASA POWER is asked for ten years.
"""

from __future__ import annotations

import datetime as dt
import http.client
import json
import time
import urllib.error
import urllib.request
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode, urlsplit

from logger.errors import InputError
from logger.site import Site

MOST_BYTES = 50 * 2**20
TIMEOUT_S = 30.0  # For the whole answer. [s]
POWER_YEARS = 10
_CHUNK = 1 << 16
_LOOPBACK = ("127.0.0.1", "::1", "localhost")


@dataclass(frozen=True)
class Asking:
    """What is asked of whom."""

    service: str
    address: str  # With the question in it
    file: str  # Name that the answer is kept under
    licence: str  # From memory

    @property
    def host(self) -> str:
        """Whom."""
        return str(urlsplit(self.address).hostname)


def pvgis(site: Site) -> Asking:
    """A typical year of PVGIS, as `pvlib.iotools.get_pvgis_tmy` asks for it."""
    import pvlib

    lat, lon = _rounded(site)
    query = urlencode({"lat": lat, "lon": lon, "outputformat": "csv", "usehorizon": 0})
    return Asking(
        "PVGIS",
        f"{pvlib.iotools.pvgis.URL}tmy?{query}",
        f"pvgis-{lat}-{lon}.csv",
        "European Commission, Joint Research Centre, PVGIS: free to use when the source is named "
        "(Commission Decision 2011/833/EU; from memory)",
    )


def nasa_power(site: Site, today: dt.date) -> Asking:
    """Ten whole years of NASA POWER, as `pvlib.iotools.get_nasa_power` asks for them."""
    import pvlib

    lat, lon = _rounded(site)
    last = today.year - 2  # last year's may not be complete yet
    first = last - POWER_YEARS + 1
    light = "ALLSKY_SFC_SW_DWN,ALLSKY_SFC_SW_DNI,ALLSKY_SFC_SW_DIFF,T2M,WS10M"
    question = {
        "latitude": lat, "longitude": lon, "start": f"{first}0101", "end": f"{last}1231",
        "community": "re", "parameters": light, "format": "json", "header": "true",
        "time-standard": "utc",
    }  # fmt: skip
    return Asking(
        "NASA POWER",
        f"{pvlib.iotools.nasa_power.URL}?{urlencode(question)}",
        f"power-{lat}-{lon}.json",
        "NASA Langley Research Center, POWER Project: free to use when the source is named "
        "(from memory)",
    )


def _rounded(site: Site) -> tuple[str, str]:
    return f"{site.latitude_deg:.2f}", f"{site.longitude_deg:.2f}"


def typical_year(site: Site, today: dt.date, tell: Callable[[str], None]) -> tuple[Asking, bytes]:
    """Ask PVGIS, and NASA POWER where it has no data; each is told before."""
    asking = pvgis(site)
    tell(f"asking {asking.host} for a typical year of {asking.service}: {asking.address}")
    try:
        return asking, answer_to(asking)
    except _NoDataError as none:
        tell(f"PVGIS has none there: {none.what}")
    asking = nasa_power(site, today)
    tell(f"asking {asking.host} for {POWER_YEARS} years of {asking.service}: {asking.address}")
    return asking, answer_to(asking)


class _NoDataError(InputError):
    """The service works, and has nothing for this place."""


class _SameHost(urllib.request.HTTPRedirectHandler):
    """Follows a redirect to the same host over the same scheme alone."""

    def redirect_request(
        self, req: Any, fp: Any, code: Any, msg: Any, headers: Any, new: str
    ) -> Any:
        here, there = urlsplit(req.full_url), urlsplit(new)
        if (here.scheme, here.netloc) != (there.scheme, there.netloc):
            raise InputError(f"sends on to another host, {there.netloc}", here.netloc)
        return super().redirect_request(req, fp, code, msg, headers, new)


def answer_to(asking: Asking, timeout_s: float = TIMEOUT_S) -> bytes:
    """What the service sends, whole and in time."""
    host = asking.host
    if urlsplit(asking.address).scheme != "https" and host not in _LOOPBACK:
        raise InputError("is asked over HTTPS only", host)
    hint = "try again later, or give a file: horizon-logger weather JOB FILE"
    until = time.monotonic() + timeout_s
    try:
        with urllib.request.build_opener(_SameHost).open(asking.address, timeout=timeout_s) as got:
            content = _read(got, until, host)
            length = got.headers.get("Content-Length")
    except urllib.error.HTTPError as error:
        why = _reason(error)
        if error.code in (400, 404, 422):
            raise _NoDataError(why, host) from error
        raise InputError(f"answers with error {error.code}: {why}", host, hint) from error
    except TimeoutError as error:
        raise InputError(f"did not answer within {timeout_s:g} s", host, hint) from error
    except (OSError, http.client.HTTPException) as error:
        why = str(getattr(error, "reason", "") or error) or type(error).__name__
        raise InputError(f"cannot be asked: {why}", host, hint) from error
    if length is not None and length.isdigit() and len(content) < int(length):
        raise InputError(f"broke off after {len(content)} of {length} bytes", host, hint)
    return content


def _read(got: Any, until: float, host: str) -> bytes:
    parts, size = [], 0
    while part := got.read1(_CHUNK):
        parts.append(part)
        size += len(part)
        if size > MOST_BYTES:
            raise InputError(f"sends more than {MOST_BYTES >> 20} MB", host)
        if time.monotonic() > until:
            raise TimeoutError
    return b"".join(parts)


def _reason(error: urllib.error.HTTPError) -> str:
    """What a service says of its error, on one line."""
    text = error.read(_CHUNK).decode("utf-8", "replace")
    try:
        said = json.loads(text)
        text = str(said.get("message") or said.get("detail") or said)
    except (ValueError, AttributeError):
        text = str(error.reason)
    return "".join(c for c in text if c.isprintable())[:160]
