"""``horizon-logger replay``: work recordings out again, with any setting changed."""

from __future__ import annotations

import datetime as dt
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from logger.cli.options import (
    json_option,
    leave_by_answers,
    leave_by_checks,
    put_out,
    recipe_options,
    say,
    site_options,
    tell,
    write_json,
)

if TYPE_CHECKING:
    from logger.survey.pipeline import PointResult
    from logger.survey.recipe import Overrides

FOR_ONE_RECORDING = {
    "job": "--job",
    "latitude_deg": "--latitude",
    "longitude_deg": "--longitude",
    "altitude_m": "--altitude",
    "rate_hz": "--rate",
    "accept_broken_seal": "--accept-broken-seal",
}


@click.command()
@click.argument(
    "what", metavar="(RECORDING | JOB)", type=click.Path(path_type=Path), required=False
)
@click.argument("point", required=False)
@click.option(
    "--job",
    metavar="JOB",
    type=click.Path(path_type=Path),
    help="Job whose site, planes and calibrations serve.  [default: the one RECORDING is in]",
)
@site_options(required=False)
@recipe_options()
@click.option(
    "--date",
    "day",
    type=click.DateTime(["%Y-%m-%d"]),
    help="Of the sweep, where the recording does not tell.",
)
@click.option(
    "--rate", "rate_hz", type=float, help="Headings a second, for a plain log of NMEA sentences."
)
@click.option(
    "--samples",
    "samples_file",
    type=click.Path(path_type=Path),
    help="Write every sample as a row of CSV.",
)
@click.option(
    "--pictures",
    "pictures_folder",
    type=click.Path(path_type=Path, file_okay=False),
    help="Write charts and tables into this folder.",
)
@click.option(
    "--accept-broken-seal",
    is_flag=True,
    help="Go on with a recording that was changed, and say so in the result.",
)
@click.option(
    "--batch",
    "batch_folder",
    metavar="FOLDER",
    type=click.Path(path_type=Path),
    help="Instead of RECORDING or JOB: every point of every job in this folder.",
)
@click.option(
    "--processes",
    type=click.IntRange(min=1),
    help="That share a batch.  [default: as many as there are processors]",
)
@json_option
def command(
    what: Path | None,
    point: str | None,
    day: dt.datetime | None,
    batch_folder: Path | None,
    processes: int | None,
    json_file: str | None,
    samples_file: Path | None,
    pictures_folder: Path | None,
    overrides: Overrides,
    **of_recording: Any,
) -> None:
    """Work out RECORDING, or a POINT of JOB: horizon, solar access and loss.

    RECORDING is a *.sweep file, or a plain log of NMEA sentences with --rate. A point is all of
    its recordings together; its answer is stored in the job unless something is overridden, and
    what changed against the stored one is printed.
    """
    if (what is None) == (batch_folder is None):
        raise click.UsageError("give RECORDING, JOB and POINT, or --batch FOLDER")
    if day is not None:
        overrides = replace(overrides, date=day.date())
    if batch_folder is not None or point is not None:
        for name, option in FOR_ONE_RECORDING.items():
            if of_recording[name] not in (None, False):
                raise click.UsageError(f"{option} is for one recording")
    if batch_folder is None and processes is not None:
        raise click.UsageError("--processes is for --batch")
    if batch_folder is not None:
        if samples_file or pictures_folder:
            raise click.UsageError(
                f"{'--samples' if samples_file else '--pictures'} is for one point"
            )
        _batch(batch_folder, overrides, processes, json_file)
    elif point is not None:
        assert what is not None
        _point(what, point, overrides, json_file, samples_file, pictures_folder)
    else:
        assert what is not None
        _recording(what, overrides, json_file, samples_file, pictures_folder, **of_recording)


def _point(
    folder: Path, point: str, overrides: Overrides, json_file: str | None, *files: Path | None
) -> None:
    from logger.job import existing_point, read_job
    from logger.report.comparison import changes_text
    from logger.report.sentences import answer_text
    from logger.survey.answers import answers
    from logger.survey.changes import changes_between, with_changes
    from logger.survey.recipe import recipe_of

    job = read_job(folder)
    (answer,) = answers(job, recipe_of(job, overrides), [existing_point(job, point)])
    if answer.error is not None:
        raise answer.error
    assert answer.result is not None
    for recording in answer.result.recordings:
        for problem in recording.problems:
            say(f"{recording.path}: {problem}")
    _write_files(answer.result, answer.document, *files)
    if json_file:
        write_json(json_file, with_changes(answer.document, answer.before))
    if json_file != "-":
        tell(answer_text(answer.result))
        if answer.before is not None:
            tell("\n" + changes_text(changes_between(answer.before, answer.document)))
    leave_by_answers([answer])


def _recording(
    path: Path,
    overrides: Overrides,
    json_file: str | None,
    samples_file: Path | None,
    pictures_folder: Path | None,
    job: Path | None,
    latitude_deg: float | None,
    longitude_deg: float | None,
    altitude_m: float | None,
    rate_hz: float | None,
    accept_broken_seal: bool,
) -> None:
    from logger.errors import InputError
    from logger.report.sentences import answer_text
    from logger.survey.points import job_around, load_sweep, recording_result

    if (latitude_deg is None) != (longitude_deg is None):
        raise click.UsageError("give both --latitude and --longitude, or neither")
    if path.is_dir():
        raise InputError("is a folder", str(path), hint="horizon-logger replay JOB POINT")
    if job is None and (job := job_around(path)) is not None:
        say(f"with the job around it, {job}; another is chosen by --job")
    sweep = load_sweep(path, rate_hz=rate_hz, accept_broken_seal=accept_broken_seal)
    for problem in sweep.recording.problems:
        say(f"{path}: {problem}")
    place = (latitude_deg, longitude_deg, altitude_m)
    result = recording_result(sweep, job, place, overrides)
    document = result.as_dict()
    _write_files(result, document, samples_file, pictures_folder)
    if json_file:
        write_json(json_file, document)
    if json_file != "-":
        tell(answer_text(result))
    leave_by_checks(result.checks)


def _write_files(
    result: PointResult, document: Any, samples_file: Path | None, pictures_folder: Path | None
) -> None:
    if samples_file:
        from logger.report.result_tables import samples_csv

        put_out(samples_file, samples_csv(result.horizon.sight))
    if pictures_folder:
        from logger.report.files import write_point

        for path in write_point(pictures_folder, result):
            say(f"wrote {path}")


def _batch(root: Path, overrides: Overrides, processes: int | None, json_file: str | None) -> None:
    from logger.access import read_weather
    from logger.survey.answers import worst
    from logger.survey.batch import SCHEMA, job_folders, job_line, worked_through

    folders = job_folders(root)
    if overrides.weather:
        read_weather(overrides.weather)  # one that cannot be read is told once, not of every job
    done = []
    with closing(worked_through(root, folders, overrides, processes)) as jobs:
        for job in jobs:
            done.append(job)
            if json_file != "-":
                tell(job_line(job))
            say(f"{len(done)} of {len(folders)} jobs")
    codes = [job.code for job in done]
    code = worst(codes)
    if json_file:
        entries = [job.as_dict() for job in done]
        write_json(json_file, {"schema": SCHEMA, "jobs": entries, "exit_code": code})
    say(
        f"{len(codes)} job{'s' if len(codes) != 1 else ''}: {codes.count(0)} fit for use, "
        f"{codes.count(4)} not fit for use, {len(codes) - codes.count(0) - codes.count(4)} with "
        "points that could not be worked out"
    )
    click.get_current_context().exit(code)
