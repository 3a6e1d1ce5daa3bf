"""The shared access and loss calculator.

A horizon from anywhere, a site, planes and weather in; access, loss and intervals out. It knows
nothing of boards, sweeps or jobs.
"""

from logger.access.calculator import SiteYear
from logger.access.heights import carried
from logger.access.monthly_means import monthly_means
from logger.access.plane import Plane
from logger.access.result import (
    AccessResult,
    Bounded,
    Interval,
    ObstructionLoss,
    PlaneResult,
)
from logger.access.rules import FAIL, PASS, TOO_CLOSE, Rules, Verdict
from logger.access.sky_view import sky_view_factor
from logger.access.weather import Weather
from logger.access.weather_files import read_weather
from logger.access.what_if import Box, added, cut, grown, names_in, of_kind, removed
