"""The sheet for whoever checks the report: method, data, checks, hashes, how to repeat it."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from logger import __version__
from logger.access import Interval, carried
from logger.access.rules import Verdict
from logger.calibration import StoredCalibration
from logger.checks import Check
from logger.files import file_sha256
from logger.geomagnetism import built_in_model
from logger.job import JOB_FILE
from logger.report import sentences, texts
from logger.report.content import LONGEST_NAME, Report
from logger.report.language import Words
from logger.report.pictures import Page
from logger.report.result_tables import calibrations_of, checks_of, planes_of
from logger.report.tables import grid, shortened
from logger.survey.result import PointResult


def verifier(report: Report, w: Words) -> Page:
    """Method, data and versions, checks, hashes, the horizon in numbers, and how to repeat it."""
    return {
        "kind": "verifier",
        "method": [
            f"{w(texts.SWEPT)} {w(texts.north(report.points))}",
            *(w(text) for text in texts.METHOD),
        ],
        "limits": [w(text) for text in texts.LIMITS],
        "data": _data(report, w),
        "steps": _steps(report),
        "checks_count": _count(report, w),
        "checks": _checks(report, w),
        "resource": _resource(report, w),
        "rules": _rules(report, w),
        "horizons": [_horizon(p, w) for p in report.points],
        "files": _files(report, w),
        "repeat": w(texts.REPEAT),
        "command": report.command,
        "safety": [[w(head), w(text)] for head, text in texts.CAUTIONS],
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
    names = report.short_names
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
            w(
                "All {n} stand, a row each, in the file checks.csv of the folder of tables beside "
                "this document; where there is none, the command below writes it with --tables.",
                n=n,
            ),
        )
    )


ON_ONE_LINE = 22
"""Letters of a point's name in the table of checks."""


def _checks(report: Report, w: Words) -> Page:
    every = [point.name for point in report.points]
    names = dict(zip(every, shortened(every, ON_ONE_LINE), strict=True))
    return grid(
        _shown(report),
        [
            (w("point or calibration"), lambda shown: _owner(shown[0], names, w)),
            (w("check"), lambda shown: w(shown[1].check)),
            ("", lambda shown: w("passed") if shown[1].passed else w("failed")),
            (w("found"), lambda shown: w.number(shown[1].value, 2)),
            (w("limit"), lambda shown: w.number(shown[1].limit, 2)),
            (w("unit"), lambda shown: shown[1].unit),
            (w("in words"), lambda shown: shown[1].why),
        ],
    )


def _resource(report: Report, w: Words) -> Page:
    """A row a plane of a point, with both factors: permits ask for it by this name."""
    names, every = report.short_names, planes_of(report.points)
    planes = list(dict.fromkeys(p.plane.name for _, p in every))
    short = dict(zip(planes, shortened(planes, LONGEST_NAME), strict=True))
    note = w(
        "Solar access of the year times orientation factor, multiplied before rounding, so that "
        "the last digit may be one off."
    )
    table = grid(
        every,
        [
            (w("point"), lambda at: names[at[0].name]),
            (w("plane"), lambda at: short[at[1].plane.name]),
            (w("solar access"), lambda at: w.percent(at[1].solar_access.annual, 1)),
            (w("orientation factor"), lambda at: w.percent(at[1].orientation_factor.value, 1)),
            (w("product"), lambda at: w.percent(at[1].total_solar_resource_fraction.value, 1)),
            (w("95 % interval"), lambda at: _span(at[1].total_solar_resource_fraction, w)),
        ],
    )
    return {**table, "note": note}


def _span(found: Interval | Verdict, w: Words) -> str:
    return f"{w.number(found.low * 100, 1)}–{w.number(found.high * 100, 1)}"


def _rules(report: Report, w: Words) -> Page:
    names = report.short_names
    every = [(at.name, p.plane.name, v) for at, p in planes_of(report.points) for v in p.verdicts]
    table = grid(
        every,
        [
            (w("point"), lambda row: names[row[0]]),
            (w("plane"), lambda row: row[1]),
            (w("rule"), lambda row: w(sentences.RULES.get(row[2].rule, row[2].rule))),
            (w("at least"), lambda row: w.percent(row[2].limit)),
            (w("found"), lambda row: w.percent(row[2].value, 1)),
            (w("95 % interval"), lambda row: _span(row[2], w)),
            (w("verdict"), lambda row: w(row[2].verdict)),
        ],
    )
    source = report.recipe.rules.source
    note = w("Where the rules stand: {source}.", source=source) if source and every else ""
    return {**table, "note": note}


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
    names = report.short_names
    rows = [[names[p.name], r.path.name, r.sha256] for p in report.points for r in p.recordings]
    rows += [
        [_owner(c, names, w), c.about.recording, c.about.sha256]
        for c in calibrations_of(report.points)
    ]
    return {"head": [w("point or calibration"), w("file"), "SHA-256"], "rows": rows}


def _owner(of: PointResult | StoredCalibration, names: Mapping[str, str], w: Words) -> str:
    """Whose a check or a file is: a point by its short name, a calibration by its purpose."""
    if isinstance(of, PointResult):
        return names[of.name]
    return w("{purpose} calibration", purpose=w(of.about.purpose))
