"""Every check, and every other limit a surveyor meets, typed by hand: what passes last, what fails
first. What a limit is follows from no code here: a limit moved there fails here."""

from __future__ import annotations

import ast
import datetime as dt
from collections.abc import Callable, Iterable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from calibrated_boards import MODEL

from logger.access import Weather
from logger.access.weather_checks import weather_checks
from logger.arrays import floats
from logger.calibration import (
    CalibrationAbout,
    StoredCalibration,
    SweepAbout,
    bearing,
    choose_calibrations,
    closing_target,
    compass,
    level,
    plane,
    swing,
)
from logger.checks import Check
from logger.geomagnetism import geomagnetic_field
from logger.horizon import HorizonProfile, Obstruction
from logger.horizon_fit import Coverage, Pass
from logger.horizon_fit.drift import DRIFT, Misclosure, drift_check
from logger.horizon_fit.heights import at_module
from logger.horizon_fit.passes import CELLS
from logger.horizon_fit.result import _covered
from logger.orientation import (
    BearingCorrection,
    CompassCorrection,
    Corrections,
    Declination,
    DeviationCurve,
    LevelCorrection,
    declination_at,
    model_years_check,
    orient,
)
from logger.orientation.field_check import model_check
from logger.parallax import PositionedPoint
from logger.parallax.place import distance_check, heading_check
from logger.recording import Recording, recording_checks
from logger.recording.samples import BoardSeen, Samples, Stream
from logger.simulation import DEFAULT_SITE
from logger.site import Site
from logger.sun_range import spacing_check
from logger.survey.points import _of_one_point
from logger.survey.ridge import agreement_check
from logger.survey.terrain import altitude_check

ROOT = Path(__file__).parents[2]
NORTH = Declination(0.0, 0.3, "chart")
COMPASS = CompassCorrection(heading_error_deg=0.4)
GOOD = {"heading_error_95_deg": 0.3, "side_gap_deg": 30.0, "field_gap_deg": 30.0,
        "residual_smoothed_share": 0.002}  # fmt: skip


def by_name(checks: Iterable[Check]) -> dict[str, Check]:
    return {check.check: check for check in checks}


def tumbled(**figures: float) -> dict[str, Check]:
    return by_name(compass._checks(GOOD | figures, COMPASS, None))


def beside(strength: float = 1.0, dip: float = 0.0) -> Check:
    return model_check(
        "magnetic field against the model", MODEL.field_ut * strength, MODEL.dip_deg + dip, MODEL
    )


def stronger_at_the_calibration(strength: float) -> Check:
    here = CompassCorrection(field_ut=MODEL.field_ut * strength, dip_deg=MODEL.dip_deg)
    return compass._checks(GOOD, here, MODEL)[3]


def sights(*offsets: float) -> Check:
    given = np.array(offsets)
    nothing = Samples(**Samples.blank(0))
    found = bearing._calibration(nothing, Corrections(NORTH), given, 0.1, 0.0, "a target", {})
    return found.checks[0]


def apart(residual: float, **corrections: Any) -> Check:
    found = BearingCorrection(residual, 0.5, residual, "a target")
    return bearing._residual_check(found, Corrections(NORTH, **corrections))


def steel(share: float) -> Check:
    """A sweep of which a share stands beside steel that adds half to the magnetic field."""
    n = 10_000
    field = np.tile([20.0, 0.0, 43.0], (n, 1))
    field[: round(share * n)] *= 1.5
    columns = Samples.blank(n) | {"t_s": np.arange(n) * 1.0, "field_ut": field}
    samples = Samples(**columns | {"force_g": np.tile([0.0, 0.0, -1.0], (n, 1))})
    here = CompassCorrection(field_ut=float(np.hypot(20, 43)), dip_deg=65.06)
    return orient(samples, Corrections(NORTH, here)).checks[0]


def asking(rows: int) -> Check:
    """A board of its own attitude that asks for calibration in some of eight rows."""
    own = {"heading_deg": np.full(8, 10.0), "pitch_deg": np.zeros(8), "roll_deg": np.zeros(8)}
    status = np.where(np.arange(8) < rows, 9, 1)
    columns = Samples.blank(8) | own | {"t_s": np.arange(8) * 0.1, "status": status}
    checks = orient(Samples(**columns), Corrections(NORTH)).checks
    return checks[0] if checks else Check("board calibrated", True, 0, 0, "", "")


def swung(gap: float = 45.0, worst: float = 0.5, n: int = 8) -> Check:
    headings = np.linspace(0.0, 360.0 - gap, n)
    return swing._check(headings, worst)


# --- The horizon ---


def seen(missing: float = 0.0, once: float = 0.0, apart: float = 0.0) -> dict[str, Check]:
    """A circle that the sun crosses, with so many degrees not seen, seen once, disputed."""
    passes, disagreeing = np.full(CELLS, 2), np.zeros(CELLS, dtype=bool)
    passes[: round(4 * missing)] = 0
    passes[400 : 400 + round(4 * once)] = 1
    disagreeing[800 : 800 + round(4 * apart)] = True
    cells = np.arange(CELLS) / 4
    return by_name(Coverage(cells, passes, disagreeing, np.ones(CELLS, dtype=bool)).checks)


def differing(by_deg: float) -> Check:
    """Two passes that differ alike all round."""
    cells = SimpleNamespace(azimuth_deg=np.arange(CELLS) / 4)
    covered = _covered(cells, np.full(CELLS, 2), np.full(CELLS, by_deg), 46.0)  # type: ignore[arg-type]
    return covered.checks[2]


def every(gap_deg: float) -> Check:
    """A skyline of 5 degrees told every 10 degrees, but for a gap in the south."""
    azimuth = np.r_[np.arange(0.0, 171.0, 10.0), np.arange(170.0 + gap_deg, 360.0, 10.0)]
    return spacing_check(HorizonProfile(azimuth, np.full(azimuth.size, 5.0)), 46.0)


def drifting(degrees: float) -> Check | None:
    """A heading that drifts by so much over a sweep of a minute, plain to see."""
    columns = [np.array([0.0, 60.0])] + [np.zeros(2)] * 5
    return drift_check([Misclosure(DRIFT, 0, degrees, 0.0)], [Pass(0, *columns)])


def carried_to(sight_heights_m: list[float], module_m: float, unknown_deg: float) -> Check | None:
    """A skyline of 20 degrees, 10 m away but for so many degrees of which nobody knows."""
    azimuth = np.arange(0.0, 360.0)
    distance = np.where((azimuth >= 150) & (azimuth < 150 + unknown_deg), np.nan, 10.0)
    profile = HorizonProfile(azimuth, np.full(360, 20.0), distance_m=distance)
    return at_module(profile, sight_heights_m, module_m, 46.0)[1]


def terrain_carried(metres: float) -> Check | None:
    """What is named terrain needs no distance until the module is so far above the sight."""
    hills = (Obstruction("hills", 0.0, 360.0, "terrain"),)
    profile = HorizonProfile(np.arange(0.0, 360.0), np.full(360, 2.0), obstructions=hills)
    return at_module(profile, [1.0], 1.0 + metres, 46.0)[1]


# --- Recordings, calibrations that a sweep gets, places ---

NOON = dt.datetime(2026, 5, 14, 12, tzinfo=dt.UTC)


def recorded(problems: int = 0, dated: bool = True, boards: int = 1) -> dict[str, Check]:
    header = {"started": "2026-05-14T12:00:00Z"} if dated else {}
    one = Recording(Path("x.sweep"), header, True, "", ("line 7 cannot be read",) * problems)
    names = tuple(BoardSeen(n, SimpleNamespace(board=str(n), firmware="", serial_number=str(n)))  # type: ignore[arg-type]
                  for n in range(boards))  # fmt: skip
    return by_name(recording_checks(one, Stream(Samples(**Samples.blank(0)), boards=names)))


def calibrated(
    purpose: Any = "compass", hours: float = 1.0, km: float = 0.0, warmer: float = 0.0,
    holder: str = "clamp", passed: bool = True, after_compass_h: float = -1.0,
) -> Check:  # fmt: skip
    """How a calibration is judged that was made so long before a sweep at noon."""

    def made(what: Any, before_h: float) -> StoredCalibration:
        about = CalibrationAbout(
            purpose=what, made=NOON - dt.timedelta(hours=before_h), temperature_c=20.0,
            latitude_deg=46.0 + km / 111.195, longitude_deg=14.5, holder="clamp",
        )  # fmt: skip
        correction: Any = {
            "compass": CompassCorrection(), "level": LevelCorrection(),
            "bearing": BearingCorrection(4.0, 0.5),
        }[what]  # fmt: skip
        found = Check("spread", passed, 0.3, 0.3, "deg", "")
        return StoredCalibration(about, what, correction, {}, (found,))

    stored = [made(purpose, hours)]
    if purpose == "bearing":
        stored.append(made("compass", hours - after_compass_h))
    sweep = SweepAbout(NOON, "", Site(46.0, 14.5), 20.0 + warmer, holder)
    chosen = choose_calibrations(stored, sweep, NORTH, needed=(purpose,))
    return by_name(chosen.checks)[f"{purpose} calibration"]


def at_latitude(degrees: float) -> Check:
    """North of Siberia, where the horizontal field falls below 6 uT at 74.96 degrees."""
    printed = geomagnetic_field(Site(degrees, 140.0), dt.date(2026, 5, 14)).compass_unreliable
    return Check("compass usable here", not printed, None, None, "", printed or "")


# --- Weather ---


def weather(
    held: float = 1.0, dark: float = 0.0, later_min: float = 0.0, clear: float = 0.5,
    more: float = 0.0, beam: float = 0.5, of_cloudless: float = 0.8, km: float = 0.0,
    higher_m: float = 0.0,
) -> dict[str, Check]:  # fmt: skip
    """A typical year of which the sun sees a thousand hours, at 10 and 14 h solar time in turn."""
    n, hour = 1000, np.where(np.arange(1000) % 2, 14.0, 10.0)
    light, dni = np.full(8760, 100.0), np.zeros(8760)
    light[: round((1 - held) * n)] = np.nan
    dni[:n], dni[5000] = 1.0 - dark, n * dark
    place = Site(46.0 + km / 111.195, 14.5, 300.0 + higher_m)
    year = Weather(light, dni, light, place=place)
    first = np.datetime64("2026-01-01T00:00", "m").astype(int)
    sun: Any = SimpleNamespace(
        minute=first + 60 * np.arange(n), solar_hour=hour, vectors=np.ones((3, n)),
        site=Site(46.0, 14.5, 300.0),
    )  # fmt: skip
    ghi = 1000.0 * clear * (1.0 + (hour - 12.0) / 2.0 * later_min / 120.0)
    spread: Any = SimpleNamespace(
        extraterrestrial_wm2=np.full(n, 1000.0), ghi_wm2=ghi, dni_wm2=ghi * beam,
        dhi_wm2=ghi * (1.0 - beam + more),
    )  # fmt: skip
    cloudless: Any = SimpleNamespace(ghi_wm2=ghi / of_cloudless)
    return by_name(weather_checks(year, sun, spread, cloudless))


def on_the_day(day: dt.date, later: float) -> Check:
    day += dt.timedelta(days=int(later))
    return model_years_check(declination_at(DEFAULT_SITE, day))


def two_points(apart_m: float, error_m: float) -> Check:
    level = HorizonProfile.level()
    places = (np.zeros(3), np.array([apart_m, 0.0, 0.0]))
    return distance_check([PositionedPoint("point", at, error_m, level) for at in places])


LIMITS: list[tuple[str, Callable[[float], Check | dict[str, Check] | None], float, float]] = [
    ("compass heading error", lambda v: tumbled(heading_error_95_deg=v), 1.5, 1.501),
    ("tumble coverage, sides", lambda v: tumbled(side_gap_deg=v), 60.0, 60.1),
    ("tumble coverage, field", lambda v: tumbled(field_gap_deg=v), 60.0, 60.1),
    ("steady magnetic field while tumbling",
     lambda v: tumbled(residual_smoothed_share=v), 0.04, 0.0401),
    ("magnetic field at the calibration", stronger_at_the_calibration, 1.199, 1.201),
    ("magnetic field against the model, too strong", lambda v: beside(strength=v), 1.199, 1.201),
    ("magnetic field against the model, too weak", lambda v: beside(strength=v), 0.801, 0.799),
    ("magnetic field against the model, too steep", lambda v: beside(dip=v), 5.99, 6.01),
    ("magnetic field against the model, too flat", lambda v: beside(dip=v), -5.99, -6.01),
    ("magnetic disturbance, share of a sweep", steel, 0.10, 0.1002),
    ("board calibrated", lambda v: asking(int(v)), 0, 1),
    ("level calibration, index",
     lambda v: level._check(LevelCorrection(index_error_deg=v)), 0.3, 0.301),
    ("level calibration, collimation",
     lambda v: level._check(LevelCorrection(collimation_error_deg=v)), 0.3, 0.301),
    ("bearing calibration, spread", lambda v: sights(-v, 0.0, v), 1.0, 1.001),
    ("bearing calibration, sights", lambda v: sights(*[0.1] * int(v)), 3, 2),
    # 1.96 times sqrt(0.3^2 + 0.4^2)
    ("ridge agrees with compass",
     lambda v: agreement_check(-v, 0.3, 0.4, None, "swept"), 0.98, 0.981),
    # 30 m and 1.96 times 10 m
    ("altitude agrees with tiles, above",
     lambda v: altitude_check(300.0 + v, 300.0, 10.0), 49.5, 49.7),
    ("altitude agrees with tiles, below",
     lambda v: altitude_check(300.0 - v, 300.0, 10.0), 49.5, 49.7),
    ("points far enough apart", lambda v: two_points(v, 0.05), 1.0, 0.99),
    # three times sqrt(0.4^2 + 0.4^2)
    ("points far enough apart, by their errors", lambda v: two_points(v, 0.4), 1.70, 1.69),
    # 3 times 1.4 times 0.4 degrees
    ("headings agree",
     lambda v: heading_check(["north", "south"], floats([0.0, v]), 0.4), 1.679, 1.69),
    # 3 degrees and twice sqrt(0.5^2 + 0.3^2 + 0.4^2)
    ("bearing agrees with compass", lambda v: apart(v, compass=COMPASS), 4.414, 4.415),
    ("bearing agrees with compass, west", lambda v: apart(v, compass=COMPASS), -4.414, -4.415),
    # 3 degrees and twice sqrt(0.5^2 + 0.3^2 + 1.2^2)
    ("bearing agrees with compass, deviation curve",
     lambda v: apart(v, deviation=DeviationCurve(standard_error_deg=1.2)), 5.668, 5.669),
    ("bearing agrees with compass, uncalibrated", apart, 10.0, 10.01),
    ("closing target drift", closing_target._drift_check, 1.5, 1.501),
    ("closing target drift, back", closing_target._drift_check, -1.5, -1.501),
    ("closing target bearing", lambda v: closing_target._bearing_check(v, 63.0), 1.5, 1.501),
    ("closing target bearing, west",
     lambda v: closing_target._bearing_check(v, 63.0), -1.5, -1.501),
    ("deviation curve, residual", lambda v: swung(worst=v), 2.0, 2.001),
    ("deviation curve, gap", lambda v: swung(gap=v, n=9), 60.0, 60.1),
    ("deviation curve, headings", lambda v: swung(n=int(v)), 8, 7),
    ("plane measured", lambda v: plane._check(30.0, 0.5, v), 5.0, 5.01),
    ("plane measured, nearly level", lambda v: plane._check(v, 0.5, 40.0), 2.99, 3.0),
    ("date within the magnetic model", lambda v: on_the_day(dt.date(2029, 12, 31), v), 0, 2),
    ("date within the magnetic model, before", lambda v: on_the_day(dt.date(2025, 1, 1), -v), 0, 1),
    ("sun's range measured", lambda v: seen(missing=v), 3.0, 3.25),
    ("sun's range seen twice", lambda v: seen(once=v), 10.0, 10.25),
    ("passes agree", lambda v: seen(apart=v), 10.0, 10.25),
    ("passes agree, of two passes", differing, 2.0, 2.01),
    ("horizon points close enough", every, 15.0, 16.0),
    ("heading steady", drifting, 3.0, 3.001),
    ("heading steady, the other way", drifting, -3.0, -3.001),
    ("corrected to module height, unknown distances",
     lambda v: carried_to([1.6], 2.6, v), 5.0, 6.0),
    ("corrected to module height, sweeps from several heights",
     lambda v: carried_to([1.6, 1.6 + v], 2.6, 0.0), 0.1, 0.101),
    # A quarter of a degree at 300 m
    ("corrected to module height, terrain", terrain_carried, 1.30, 1.32),
    ("recording readable", lambda v: recorded(problems=int(v)), 0, 1),
    ("one board", lambda v: recorded(boards=int(v)), 1, 2),
    ("recording dated", lambda v: recorded(dated=v > 0), 1, 0),
    ("recording of one point",
     lambda v: _of_one_point(Path("x.sweep"), "yard") if v > 1 else None, 1, 2),
    ("compass calibration, age", lambda v: calibrated(hours=v), 12.0, 12.1),
    ("compass calibration, made after", lambda v: calibrated(hours=-v), 11.9, 12.1),
    ("compass calibration, site", lambda v: calibrated(km=v), 4.99, 5.01),
    ("compass calibration, temperature", lambda v: calibrated(warmer=v), 15.0, 15.1),
    ("compass calibration, colder", lambda v: calibrated(warmer=-v), 15.0, 15.1),
    ("compass calibration, poor", lambda v: calibrated(passed=v < 1), 0, 1),
    ("level calibration, age", lambda v: calibrated("level", hours=v), 12.0, 12.1),
    ("bearing calibration, age", lambda v: calibrated("bearing", hours=v), 12.0, 12.1),
    ("bearing calibration, before the compass's",
     lambda v: calibrated("bearing", after_compass_h=v), -0.1, 0.1),
    ("compass usable here", at_latitude, 74.95, 74.97),
    ("weather complete", lambda v: weather(held=v), 0.98, 0.979),
    ("weather's beam by day", lambda v: weather(dark=v), 0.02, 0.0201),
    ("weather in step with the sun", lambda v: weather(later_min=v), 19.99, 20.01),
    ("weather in step with the sun, early", lambda v: weather(later_min=v), -19.99, -20.01),
    ("weather's year possible, dull", lambda v: weather(clear=v), 0.25, 0.249),
    ("weather's year possible, bright", lambda v: weather(clear=v), 0.80, 0.801),
    ("weather's parts add up", lambda v: weather(more=v), 0.0999, 0.1001),
    ("weather's parts add up, less", lambda v: weather(more=v), -0.0999, -0.1001),
    ("weather has a beam", lambda v: weather(beam=v), 0.0501, 0.0499),
    ("weather's clear days possible", lambda v: weather(of_cloudless=v), 1.199, 1.201),
    ("weather from near the site", lambda v: weather(km=v), 49.9, 50.1),
    ("weather from the site's height", lambda v: weather(higher_m=v), 300.0, 300.1),
    ("weather from the site's height, lower", lambda v: weather(higher_m=v), -300.0, -300.1),
]  # fmt: skip


SECOND_REASON = {
    "deviation curve, headings", "deviation curve, gap", "plane measured, nearly level",
    "magnetic field against the model, too weak", "magnetic field against the model, too strong",
    "magnetic field at the calibration", "bearing calibration, sights",
}  # fmt: skip
"""What fails for another reason than the value and the limit that it tells."""


@pytest.mark.parametrize(("name", "check", "passes", "fails"), LIMITS, ids=[c[0] for c in LIMITS])
def test_the_last_value_that_passes_and_the_first_that_fails(
    name: str, check: Callable[[float], Any], passes: float, fails: float
) -> None:
    called = name.split(",")[0]
    told = [check(value) for value in (passes, fails)]
    passed, failed = (one.get(called) if isinstance(one, dict) else one for one in told)
    assert passed is None or passed.passed
    assert failed is not None
    assert not failed.passed
    assert failed.why
    assert failed.check == called
    # A calibration is of the sweep's day or not: its age in hours has no limit.
    assert (failed.value is None) == (failed.limit is None) or failed.unit == "h"
    if passed and name not in SECOND_REASON and None not in (failed.value, failed.limit):
        low, high = sorted((abs(passed.value), abs(failed.value)))
        assert low - 0.05 <= failed.limit <= high + 0.05
    assert failed.unit in ("", "%", "deg", "h", "km", "m", "min", "years")


def test_what_is_late_high_or_more_is_told_with_its_side() -> None:
    late, early = weather(later_min=50.0), weather(later_min=-50.0)
    assert "runs 50 min after the sun's" in late["weather in step with the sun"].why
    assert "runs 50 min before the sun's" in early["weather in step with the sun"].why
    for metres, side in ((500.0, "500 m higher"), (-500.0, "500 m lower")):
        assert side in weather(higher_m=metres)["weather from the site's height"].why
    for share, side in ((0.2, "20.0 % more"), (-0.2, "20.0 % less")):
        assert side in weather(more=share)["weather's parts add up"].why


def checks_in_the_code() -> set[str]:
    """Names of checks that stand as plain text in a call of `Check`."""
    found = set()
    for path in (ROOT / "logger").rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            named = isinstance(node, ast.Call) and getattr(node.func, "id", "").lower() in CALLED
            if named and node.args and isinstance(node.args[0], ast.Constant):
                found.add(node.args[0].value)
    return found


CALLED = ("check", "_check", "model_check", "at_most")
ELSEWHERE = {
    "positions known", "positions agree", "names agree", "obstructions placed",
    "outline is a polygon", "array seen",
}  # fmt: skip
"""A whole roof's, which follow from fits: tests/parallax."""


def test_every_check_of_the_program_has_its_last_and_first_value_here_and_is_explained() -> None:
    held = {name.split(",")[0] for name, *_ in LIMITS} | ELSEWHERE
    assert checks_in_the_code() - held == set()
    page = (ROOT / "docs" / "reference" / "checks.md").read_text("utf-8")
    assert {name for name in checks_in_the_code() if f"| {name} |" not in page} == set()
