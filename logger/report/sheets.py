"""The sheets behind the points' pages: for the installer, and for whoever checks the report."""

from __future__ import annotations

import numpy as np

from logger import __version__
from logger.access import carried
from logger.access.window import WindowResult
from logger.calibration import StoredCalibration
from logger.checks import Check
from logger.files import file_sha256
from logger.geomagnetism import built_in_model
from logger.geometry import wrap360
from logger.job import JOB_FILE
from logger.report import sentences, texts
from logger.report.content import Report
from logger.report.language import DASH, N_, Words
from logger.report.pages import LEAST_SHADE_H, place
from logger.report.pictures import Page
from logger.report.result_tables import calibrations_of, checks_of, planes_of
from logger.report.tables import hour_text, shortened
from logger.survey.result import PointResult

# For the installer


def installer(report: Report, w: Words) -> Page:
    """Heights, positions, planes, the hours in which each point is shaded, and what that means."""
    hours = sentences.window_hours(report.points[0].access.planes[0].window, w)
    return {
        "kind": "installer",
        "title": w("For the installer"),
        "planes": _planes(report, w),
        "places": _places(report, w),
        "shaded_title": w(
            "When each point is shaded between {start} and {end} h of solar time", **hours
        ),
        "shaded": _shaded(report, w),
        "shaded_note": w(
            "Shade before {start} and after {end} h stands in the picture on each point's page. A "
            "dash is a month without shade in these hours, a question mark one in which part of "
            "the horizon was not measured. Shade counts when it falls at that time on some day of "
            "the month, in whole or in part; gaps under half an hour are told as shade. A bare "
            "tree counts, though it lets part of the light through.",
            **hours,
        ),
        "strings_title": w("What shade means for strings"),
        "strings": [w(text) for text in texts.STRINGS],
    }


LONGEST_NAME = 32
"""Letters of a point's name in a table; the whole name stands on its page."""

ABREAST = 4
"""Points that stand side by side in a table of months."""


def _names(report: Report) -> dict[str, str]:
    """The points' names, short enough for a table."""
    names = [p.name for p in report.points]
    return dict(zip(names, shortened(names, LONGEST_NAME), strict=True))


def _shaded(report: Report, w: Words) -> list[Page]:
    names, tables = _names(report), []
    for start in range(0, len(report.points), ABREAST):
        points = report.points[start : start + ABREAST]
        hours = [shaded_hours(p.access.planes[0].window) for p in points]
        rows = [[w.month(m), *(cells[m] for cells in hours)] for m in range(12)]
        tables.append({"head": [w("month"), *(names[p.name] for p in points)], "rows": rows})
    return tables


LEAST_SUN_H = 0.5
"""Shorter stretches of sun between two of shade are told as shade. [h]"""


def shaded_hours(window: WindowResult) -> list[str]:
    """For each month the stretches of the solar window in which the sun is blocked."""
    unknown = sentences.unknown_months(window)
    cells = []
    for month in range(12):
        spans: list[list[float]] = []
        own = [b for b in window.blocked if b.month == month + 1]
        for start, end in sorted((b.from_solar_hour, b.to_solar_hour) for b in own):
            if spans and start <= spans[-1][1] + LEAST_SUN_H:
                spans[-1][1] = max(spans[-1][1], end)
            else:
                spans.append([start, end])
        told = [f"{hour_text(a)}–{hour_text(b)}" for a, b in spans if b - a >= LEAST_SHADE_H]
        cells.append(", ".join([*told, *(["?"] if month in unknown else [])]) or DASH)
    return cells


def _planes(report: Report, w: Words) -> Page:
    found = {p.plane.name: p for _, p in planes_of(report.points)}
    best = next(iter(found.values())).best_unshaded
    magnetic = report.points[0].declination.value_deg
    rows = [
        [
            name,
            w.number(p.plane.tilt_deg, 1),
            w.number(p.plane.azimuth_deg, 1),
            w.number(float(wrap360(p.plane.azimuth_deg - magnetic)), 1),
            DASH if p.plane.size_kwp is None else w.number(p.plane.size_kwp, 2),
            w.percent(p.orientation_factor.value, 1),
        ]
        for name, p in found.items()
    ]
    note = w(
        "By compass is what a hand compass shows, whose north is {declination}° from true north "
        "here. The best fixed plane without shade under this sky has a tilt of {tilt}° and an "
        "azimuth of {azimuth}°; the orientation factor compares each plane with it.",
        declination=w.number(magnetic, 1),
        tilt=w.number(best.tilt_deg),
        azimuth=w.number(best.azimuth_deg),
    )
    head = [
        w("plane"),
        w("tilt [°]"),
        w("azimuth [°]"),
        w("by compass [°]"),
        w("size [kWp]"),
        w("orientation factor"),
    ]
    return {"head": head, "rows": rows, "note": note}


def _places(report: Report, w: Words) -> Page:
    def metres(value: float | None, decimals: int = 2) -> str:
        return DASH if value is None else w.number(value, decimals)

    names = _names(report)
    every = {p.plane.name for _, p in planes_of(report.points)}
    rows = []
    for p in report.points:
        *at, swept, module = place(report, p)
        own = [x.plane.name for x in p.access.planes]
        planes = ", ".join(own) if len(own) < len(every) else w("all")
        metres_of = (*(metres(v, 1) for v in at), metres(swept), metres(module))
        rows.append([names[p.name], *metres_of, planes])
    head = [w("point"), w("east [m]"), w("north [m]"), w("up [m]"), w("swept at [m]"),
            w("module at [m]"), w("planes")]  # fmt: skip
    note = w(
        "East, north and up count from the job's origin; both heights from the surface that the "
        "surveyor stood on. A dash means that nothing was entered."
    )
    return {"head": head, "rows": rows, "note": note}


# For the verifier

VERDICT_WORDS = (N_("pass"), N_("fail"), N_("too close to call"))
"""As `logger.access.rules` has them."""


def verifier(report: Report, w: Words) -> Page:
    """Method, data and versions, checks, hashes, the horizon in numbers, and how to repeat it."""
    return {
        "kind": "verifier",
        "title": w("For whoever checks this report"),
        "method_title": w("How the figures were obtained"),
        "method": [w(t) for t in (texts.SWEPT, texts.north(report.points), *texts.METHOD)],
        "limits_title": w("Limits"),
        "limits": [w(text) for text in texts.LIMITS],
        "data_title": w("Data and versions"),
        "data": _data(report, w),
        "steps_title": w("Corrections and changes, in order"),
        "steps": _steps(report),
        "checks_title": w("Checks"),
        "checks_count": _count(report, w),
        "checks": _checks(report, w),
        "rules_title": w("Rules"),
        "rules": _rules(report, w),
        "horizon_title": w(
            "Horizon in degrees of elevation at every 5° of azimuth (peaks between these stand in "
            "the tables' folder horizons, where tables were asked for)"
        ),
        "horizons": [_horizon(p, w) for p in report.points],
        "files_title": w("Files"),
        "files": _files(report, w),
        "repeat_title": w("How to repeat it"),
        "repeat": w(texts.REPEAT),
        "command": report.command,
        "safety_title": w("Safety, codes and licences"),
        "safety": [[w(head), w(text)] for head, text in texts.CAUTIONS],
        "sign": [w("place and date"), w("name and signature")],
    }


def _data(report: Report, w: Words) -> list[list[str]]:
    import pvlib

    access = report.points[0].access
    settings = access.settings
    north = list(dict.fromkeys(sentences.true_north(p) for p in report.points))
    return [
        [w("program"), f"horizon-logger {__version__}, pvlib {pvlib.__version__}"],
        [w("sky"), str(access.sky)],
        [w("year of the sun's positions"), str(settings.year)],
        [w("transposition"), settings.transposition],
        [w("random horizons, seed"), f"{settings.draws}, {settings.seed}"],
        [w("true north"), "; ".join(north)],
        [w("tracing by eye"), settings.tracing_words],
        [w("magnetic model"), (report.recipe.magnetic_model or built_in_model()).name],
        *([[w("weather, SHA-256"), access.sky.sha256]] if access.sky.sha256 else []),
        *(
            [[w("turbidity"), w.number(settings.turbidity, 1)]]
            if settings.turbidity is not None
            else []
        ),
        [w("recipe, SHA-256"), report.recipe.sha256],
        [w("job.toml, SHA-256"), file_sha256(report.job.folder / JOB_FILE)],
    ]


def _steps(report: Report) -> list[list[str]]:
    """What was done to each point's sweeps, in the program's own words; like points together."""
    names = _names(report)
    found: dict[str, list[str]] = {}
    for point in report.points:
        found.setdefault("; ".join(point.horizon.profile.steps), []).append(names[point.name])
    return [[", ".join(names), steps] for steps, names in found.items()]


NEAR = 0.1
"""Share of a limit within which a passed check is shown to the verifier."""


def is_near(check: Check) -> bool:
    """Whether a check came within a tenth of its limit."""
    if check.value is None or check.limit is None or check.limit == 0:
        return False
    return abs(check.value - check.limit) <= NEAR * abs(check.limit)


def _shown(report: Report) -> list[tuple[PointResult | StoredCalibration, Check]]:
    """Checks that failed or came near their limit, the failed ones first."""
    every = checks_of(report.points)
    return sorted((x for x in every if not x[1].passed or is_near(x[1])), key=lambda x: x[1].passed)


def _count(report: Report, w: Words) -> str:
    n, of_points = len(checks_of(report.points)), sum(len(p.checks) for p in report.points)
    shown = len(_shown(report))
    return " ".join(
        (
            w(
                "Of {n} checks, {points} of the points and {calibrations} of the calibrations, "
                "{passed} passed with room to spare.",
                n=n,
                points=of_points,
                calibrations=n - of_points,
                passed=n - shown,
            ),
            w("Below stand those that failed or came within a tenth of their limit.")
            if shown
            else w("None failed or came within a tenth of its limit."),
            w("All of them stand in checks.csv, where tables were asked for."),
        )
    )


def _checks(report: Report, w: Words) -> Page:
    names = _names(report)
    rows = [
        [
            names[of.name] if isinstance(of, PointResult) else _calibration(of, w),
            w(c.check),
            w("passed") if c.passed else w("failed"),
            w.number(c.value, 2),
            w.number(c.limit, 2),
            c.unit,
            c.why,
        ]
        for of, c in _shown(report)
    ]
    head = [
        w("point or calibration"),
        w("check"),
        "",
        w("found"),
        w("limit"),
        w("unit"),
        w("in words"),
    ]
    return {"head": head, "rows": rows}


def _rules(report: Report, w: Words) -> Page:
    names = _names(report)
    rows = [
        [
            names[point.name],
            p.plane.name,
            w(sentences.RULES.get(v.rule, v.rule)),
            w.percent(v.limit),
            w.percent(v.value, 1),
            f"{w.number(v.low * 100, 1)}–{w.number(v.high * 100, 1)}",
            w(v.verdict),
        ]
        for point, p in planes_of(report.points)
        for v in p.verdicts
    ]
    head = [
        w("point"),
        w("plane"),
        w("rule"),
        w("at least"),
        w("found"),
        w("95 % interval"),
        w("verdict"),
    ]
    source = report.recipe.rules.source
    note = w("Where the rules stand: {source}.", source=source) if source and rows else ""
    return {"head": head, "rows": rows, "note": note}


def _horizon(point: PointResult, w: Words) -> Page:
    """Elevation at every fifth degree, a row a quarter of the circle."""
    azimuth = np.arange(0.0, 360.0, 5.0)
    profile = carried(point.horizon.profile)
    known = np.asarray(profile.measured_at(azimuth), dtype=bool)
    values = np.where(known, profile.elevation_at(azimuth), np.nan).reshape(4, 18)
    head = ["", *(f"+{5 * k}" for k in range(18))]
    rows = [[f"{90 * q}°", *(w.number(v, 1) for v in row)] for q, row in enumerate(values)]
    return {"name": point.name, "head": head, "rows": rows}


def _files(report: Report, w: Words) -> Page:
    names = _names(report)
    rows = [
        [names[p.name], s.recording.path.name, s.recording.sha256]
        for p in report.points
        for s in p.sweeps
    ]
    rows += [
        [_calibration(c, w), c.about.recording, c.about.sha256]
        for c in calibrations_of(report.points)
    ]
    return {"head": [w("point or calibration"), w("file"), "SHA-256"], "rows": rows}


def _calibration(of: StoredCalibration, w: Words) -> str:
    return w("{purpose} calibration", purpose=w(of.about.purpose))
