"""``horizon-logger points``: the points of a job side by side."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from logger.cli.options import (
    EXIT_CHECK_FAILED,
    EXIT_UNREADABLE,
    json_option,
    say,
    tell,
    write_json,
)

if TYPE_CHECKING:
    from logger.access import SiteYear
    from logger.job import Job
    from logger.report.tables import Table
    from logger.survey.side_by_side import Best, Corners, Spot


@click.command()
@click.argument("job", type=click.Path(path_type=Path))
@click.option(
    "--array",
    "arrays",
    multiple=True,
    metavar="NAME=POINT,POINT,...",
    help="Points that are the corners of one array: their average and worst. May be given again.",
)
@click.option("--again", is_flag=True, help="Work out every point anew, not only new ones.")
@json_option
def command(job: Path, arrays: tuple[str, ...], again: bool, json_file: str | None) -> None:
    """Compare the points of JOB: access by month, solar window, loss, and what blocks.

    Says which point and which plane is best, and whether the difference is more than the
    uncertainty. Points are worked out that have no stored result, or whose job has changed since it
    was stored. A point that cannot be worked out is left out and named; the exit code is then 3.
    """
    from logger.errors import LoggerError, UsageError
    from logger.job import point_names, read_job
    from logger.survey.points import site_year
    from logger.survey.side_by_side import best_plane, best_point, corners

    survey = read_job(job)
    names = point_names(survey)
    groups = [_array(text, names) for text in arrays]
    year = cache(lambda: site_year(survey))
    spots: list[Spot] = []
    left_out: dict[str, LoggerError] = {}
    for name in names:
        try:
            spot = _spot(survey, name, year, again)
        except LoggerError as error:
            left_out[name] = error
            say(f"left out - {name}: {error}" + (f" (try: {error.hint})" if error.hint else ""))
            continue
        spots += [spot] if spot is not None else []
    if left_out and not spots:
        raise next(iter(left_out.values()))
    if not spots:
        raise UsageError(
            "no point of this job has a recording",
            str(job),
            hint="sweep one with: horizon-logger sweep JOB POINT --port URL",
        )
    planes = range(len(spots[0].planes))
    by_name = {spot.name: spot for spot in spots}
    of_arrays = [
        corners(name, found, plane)
        for name, points in groups
        if (found := [by_name[p] for p in points if p in by_name])
        for plane in planes
    ]
    # A point that is not fit for use would make every difference look uncertain.
    fit = [spot for spot in spots if spot.fit]
    points = [(spots[0].planes[k].name, best_point(fit, k) if fit else None) for k in planes]
    directions = [(spot.name, best_plane(spot)) for spot in spots]
    if json_file:
        why = {name: str(error) for name, error in left_out.items()}
        write_json(json_file, {**_document(spots, of_arrays, points, directions), "left_out": why})
    if json_file != "-":
        _print(spots, of_arrays, points, directions)
    if left_out:
        click.get_current_context().exit(EXIT_UNREADABLE)
    if len(fit) < len(spots):
        click.get_current_context().exit(EXIT_CHECK_FAILED)


def _print(
    spots: Sequence[Spot],
    of_arrays: Sequence[Corners],
    points: Sequence[tuple[str, Best | None]],
    directions: Sequence[tuple[str, Best | None]],
) -> None:
    from logger.report.tables import as_text

    for plane in range(len(spots[0].planes)):
        click.echo(as_text(_summary(spots, plane)))
        click.echo(as_text(_months(spots, plane)))
    for corner in of_arrays:
        click.echo(as_text(_corner_table(corner)))
    for plane_name, best in points:
        if best is not None:
            tell(f"for {plane_name}: {best_words(best)}")
    for point, best in directions:
        if best is not None:
            what = "total solar resource fraction"
            tell(f"planes at {point}: {best_words(best, what)}")
    unfit = [spot.name for spot in spots if not spot.fit]
    if unfit:
        tell(f"not compared, for they are not fit for use: {', '.join(unfit)}")


def best_words(best: Best, what: str = "solar access") -> str:
    """Which is best and by how much, or that there is no real difference."""
    name, gap = best.others[0]
    points = f"{gap.value * 100:.1f} percentage points of {what}"
    if gap.is_real is None:
        return f"{best.name} has {points} more than {name}; the uncertainty is not known"
    ties = best.no_real_difference
    if ties:
        return (
            f"no real difference between {' and '.join([best.name, *ties])}: "
            f"{points} apart, which is less than the uncertainty"
            if len(ties) == 1
            else f"no real difference between {', '.join([best.name, *ties])}: "
            "they are apart by less than the uncertainty"
        )
    return (
        f"{best.name} is best, {points} more than {name} "
        f"(95 % interval {gap.low * 100:.1f} to {gap.high * 100:.1f})"
    )


def _array(text: str, known: Sequence[str]) -> tuple[str, list[str]]:
    name, _, listed = text.partition("=")
    points = [point.strip() for point in listed.split(",") if point.strip()]
    if not name.strip() or not points:
        raise click.BadParameter(
            f"{text!r} is not NAME=POINT,POINT,..., such as roof=nw,ne,se,sw", param_hint="--array"
        )
    for point in points:
        if point not in known:
            raise click.BadParameter(f"the job has no point {point!r}", param_hint="--array")
    return name.strip(), points


def _spot(survey: Job, name: str, year: Callable[[], SiteYear], again: bool) -> Spot | None:
    """A point's stored result, or a fresh one; None where it has no recording."""
    from logger.job import read_json, result_path
    from logger.job import write_json as store
    from logger.report.figures import plane_figures
    from logger.survey.points import is_swept, job_sha256, point_result
    from logger.survey.side_by_side import Spot

    if not is_swept(survey, name):
        say(f"{name}: no recording yet, or every one is left out")
        return None
    path = result_path(survey, name)
    document = read_json(path) if path.exists() and not again else None
    # A result without the hash was worked out without a job.
    if document and document.get("job_sha256") not in (None, job_sha256(survey, name)):
        say(f"{name}: the job has changed since, worked out again")
        document = None
    if document is None:
        store(path, point_result(survey, name, year()).as_dict())
        document = read_json(path)
    failed = [g["check"] for g in document.get("quality", []) if not g["passed"]]
    if failed:
        say(f"{name}: not fit for use - {', '.join(failed)}")
    planes = tuple(plane_figures(plane) for plane in document["planes"])
    return Spot(name, planes, fit=not failed)


def _summary(spots: Sequence[Spot], plane: int) -> Table:
    from logger.report.style import MONTHS
    from logger.report.tables import Column, Table

    figures = spots[0].planes[plane]
    start, end = figures.window_hours
    rows = []
    for spot in spots:
        here = spot.planes[plane]
        year = here.solar_access.year
        shut = sorted({b.month for b in here.blocked})
        worst = max(here.by_obstruction, key=lambda o: o.year, default=None)
        rows.append(
            (
                spot.name,
                year.value,
                year.low,
                year.high,
                here.loss_kwh_per_m2,
                " ".join(MONTHS[m - 1] for m in shut) or "clear",
                f"{worst.name or 'unnamed'} {worst.year * 100:.1f} %" if worst else "",
            )
        )
    return Table(
        f"{figures.name}: tilt {figures.tilt_deg:g}°, azimuth {figures.azimuth_deg:g}°",
        (
            Column("point", "point"),
            Column("solar_access", "year's access", "%", 1, 6, 100.0),
            Column("solar_access_low", "low", "%", 1, 6, 100.0),
            Column("solar_access_high", "high", "%", 1, 6, 100.0),
            Column("loss_kwh_per_m2", "loss", "kWh/m²", 1, 4),
            Column("not_clear", f"{start:g}–{end:g} h not clear"),
            Column("takes_most", "takes most"),
        ),
        tuple(rows),
    )


def _months(spots: Sequence[Spot], plane: int) -> Table:
    from logger.report.style import MONTHS
    from logger.report.tables import Column, Table

    return Table(
        f"{spots[0].planes[plane].name}: solar access by month [%]",
        (
            Column("point", "point"),
            *(Column(month.lower(), month, "", 0, 6, 100.0) for month in MONTHS),
        ),
        tuple(
            (spot.name, *(float(v) for v in spot.planes[plane].solar_access.value))
            for spot in spots
        ),
    )


def _corner_table(corner: Corners) -> Table:
    from logger.report.style import MONTHS
    from logger.report.tables import Column, Table

    share = [
        Column(name, heading, "%", 1, 6, 100.0)
        for name, heading in (
            ("average", "average"),
            ("average_low", "low"),
            ("average_high", "high"),
            ("worst", "worst"),
            ("worst_low", "low"),
            ("worst_high", "high"),
        )
    ]
    columns = [getattr(corner, column.name) for column in share]
    return Table(
        f"{corner.name}, {corner.plane}: over {', '.join(corner.points)}",
        (Column("month", "month"), *share, Column("worst_point", "worst at")),
        tuple(
            (month, *(float(column[i]) for column in columns), corner.worst_point[i])
            for i, month in enumerate([*MONTHS, "year"])
        ),
        last_is_total=True,
    )


def _document(
    spots: Sequence[Spot],
    of_arrays: Sequence[Corners],
    points: Sequence[tuple[str, Best | None]],
    planes: Sequence[tuple[str, Best | None]],
) -> dict[str, Any]:
    def bounded(value: Any, low: Any, high: Any) -> dict[str, Any]:
        return {"value": value, "low": low, "high": high}

    def thirteen(corner: Corners, name: str) -> dict[str, Any]:
        columns = [getattr(corner, name + end) for end in ("", "_low", "_high")]
        return {
            "annual": bounded(*(column[12] for column in columns)),
            "monthly": [bounded(*(column[m] for column in columns)) for m in range(12)],
        }

    def best(found: Best | None) -> dict[str, Any] | None:
        if found is None:
            return None
        return {
            "name": found.name,
            "stands_out": found.stands_out,
            "others": [
                {
                    "name": name,
                    "difference": bounded(gap.value, gap.low, gap.high),
                    "real": gap.is_real,
                }
                for name, gap in found.others
            ],
        }

    return {
        "schema": "horizon-logger points 1",
        "points": [
            {
                "name": spot.name,
                "planes": [
                    {
                        "name": p.name,
                        "solar_access": {
                            "annual": bounded(
                                p.solar_access.year.value,
                                p.solar_access.year.low,
                                p.solar_access.year.high,
                            ),
                            "monthly": [
                                bounded(*v)
                                for v in zip(
                                    p.solar_access.value,
                                    p.solar_access.low,
                                    p.solar_access.high,
                                    strict=True,
                                )
                            ],
                        },
                        "loss_annual_kwh_per_m2": p.loss_kwh_per_m2,
                        "window_monthly_clear_fraction": p.window_clear,
                        "by_obstruction": {o.name: o.year for o in p.by_obstruction},
                    }
                    for p in spot.planes
                ],
            }
            for spot in spots
        ],
        "arrays": [
            {
                "name": corner.name,
                "plane": corner.plane,
                "points": list(corner.points),
                "average": thirteen(corner, "average"),
                "worst": thirteen(corner, "worst"),
                "worst_point": list(corner.worst_point),
            }
            for corner in of_arrays
        ],
        "best_point": {plane: best(found) for plane, found in points},
        "best_plane": {point: best(found) for point, found in planes},
    }
