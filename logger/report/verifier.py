"""The sheet for whoever checks the report: method, data, checks, hashes, how to repeat it."""

from __future__ import annotations

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
from logger.report.content import LONGEST_NAME, Report, note_of
from logger.report.language import N_, Words
from logger.report.pictures import Page
from logger.report.result_tables import calibrations_of, checks_of, planes_of
from logger.report.tables import shortened
from logger.survey.result import PointResult

VERDICT_WORDS = (N_("pass"), N_("fail"), N_("too close to call"))
"""As `logger.access.rules` has them."""


def verifier(report: Report, w: Words) -> Page:
    """Method, data and versions, checks, hashes, the horizon in numbers, and how to repeat it."""
    return {
        "kind": "verifier",
        "title": w("For whoever checks this report"),
        "method_title": w("How the figures were obtained"),
        "method": [
            f"{w(texts.SWEPT)} {w(texts.north(report.points))}",
            *(w(text) for text in texts.METHOD),
        ],
        "limits_title": w("Limits"),
        "limits": [w(text) for text in texts.LIMITS],
        "data_title": w("Data and versions"),
        "data": _data(report, w),
        "steps_title": w("Corrections and changes, in order"),
        "steps": _steps(report),
        "checks_title": w("Checks"),
        "checks_count": _count(report, w),
        "checks": _checks(report, w),
        "resource_title": w("Total solar resource fraction"),
        "resource": _resource(report, w),
        "rules_title": w("Rules"),
        "rules": _rules(report, w),
        "horizon_title": w(
            "Horizon in degrees, at every 5° of azimuth (peaks between these: folder horizons "
            "beside checks.csv)"
        ),
        "horizons": [_horizon(p, w) for p in report.points],
        "files_title": w("Files"),
        "files": _files(report, w),
        "repeat_title": w("How to repeat it"),
        "repeat": w(texts.REPEAT),
        "command": report.command,
        "safety_title": w("Safety, codes and licences"),
        "safety": [[w(head), w(text)] for head, text in texts.CAUTIONS],
        "note": note_of(report),
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


def _resource(report: Report, w: Words) -> Page:
    """A row a plane of a point, with both factors: permits ask for it by this name."""
    names, every = report.short_names, planes_of(report.points)
    planes = list(dict.fromkeys(p.plane.name for _, p in every))
    short = dict(zip(planes, shortened(planes, LONGEST_NAME), strict=True))
    rows = []
    for point, p in every:
        found = p.total_solar_resource_fraction
        three = (p.solar_access.annual, p.orientation_factor.value, found.value)
        shares = (w.percent(share, 1) for share in three)
        rows.append([names[point.name], short[p.plane.name], *shares, _span(found, w)])
    note = w(
        "Solar access of the year times orientation factor, multiplied before rounding, so that "
        "the last digit may be one off."
    )
    head = [
        w("point"),
        w("plane"),
        w("solar access"),
        w("orientation factor"),
        w("product"),
        w("95 % interval"),
    ]
    return {"head": head, "rows": rows, "note": note}


def _span(found: Interval | Verdict, w: Words) -> str:
    return f"{w.number(found.low * 100, 1)}–{w.number(found.high * 100, 1)}"


def _rules(report: Report, w: Words) -> Page:
    names = report.short_names
    rows = [
        [
            names[point.name],
            p.plane.name,
            w(sentences.RULES.get(v.rule, v.rule)),
            w.percent(v.limit),
            w.percent(v.value, 1),
            _span(v, w),
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
    names = report.short_names
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
