"""``horizon-logger replay``: work recordings out again, with any setting changed."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

import click

from logger.cli.options import (
    give,
    json_option,
    leave_by_answers,
    put_out,
    recipe_options,
    say,
    site_options,
    tell,
)
from logger.cli.parameters import DAY, FILE, FOLDER

if TYPE_CHECKING:
    from logger.survey.answers import Answer
    from logger.survey.recipe import Overrides


@click.command()
@click.argument("what", metavar="(RECORDING | JOB)", type=FILE, required=False)
@click.argument("point", required=False)
@click.option(
    "--job",
    metavar="JOB",
    type=FILE,
    help="Job whose site, planes and calibrations serve.  [default: the one RECORDING is in]",
)
@site_options(required=False)
@recipe_options()
@click.option(
    "--date",
    "day",
    type=DAY,
    help="Of the sweep, where the recording does not tell.",
)
@click.option(
    "--rate", "rate_hz", type=float, help="Headings a second, for a plain log of NMEA sentences."
)
@click.option(
    "--samples",
    "samples_file",
    type=FILE,
    help="Write every sample as a row of CSV.",
)
@click.option(
    "--pictures",
    "pictures_folder",
    type=FOLDER,
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
    type=FILE,
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
    overrides: Overrides,
    samples_file: Path | None,
    pictures_folder: Path | None,
    **of_recording: Any,
) -> None:
    """Work out RECORDING, or a POINT of JOB: horizon, solar access and loss.

    RECORDING is a *.sweep file, or a plain log of NMEA sentences with --rate. A point is all of
    its recordings together; its answer is stored in the job unless something is overridden, and
    what changed against the stored one is printed.
    """
    from logger.errors import as_argument

    files = {"samples_file": samples_file, "pictures_folder": pictures_folder}
    if (what is None) == (batch_folder is None):
        raise click.UsageError("give RECORDING, JOB and POINT, or --batch FOLDER")
    if day is not None:
        overrides = replace(overrides, date=day.date())
    if what is None or point is not None:
        _refuse("one recording", of_recording)
    if what is None:
        assert batch_folder is not None
        _refuse("one point", files)
        _batch(batch_folder, overrides, processes, json_file)
    if processes is not None:
        raise click.UsageError("--processes is for --batch")
    assert what is not None
    if point is not None:
        answer = _of_point(what, point, overrides)
        step = f"horizon-logger compare {as_argument(what)}"
    else:
        answer = _of_recording(what, overrides, **of_recording)
        step = "--set NAME=VALUE, to see what a setting does"
    _tell(answer, json_file, **files)
    leave_by_answers([answer], step)


def _refuse(what: str, given: Mapping[str, Any]) -> None:
    """Refuse options that are given and are for something else."""
    for option in click.get_current_context().command.params:
        if given.get(option.name or "") not in (None, False):
            raise click.UsageError(f"{option.opts[0]} is for {what}")


def _of_point(folder: Path, point: str, overrides: Overrides) -> Answer:
    from logger.job import existing_point, read_job
    from logger.survey.answers import answers
    from logger.survey.recipe import recipe_of

    job = read_job(folder)
    (answer,) = answers(job, recipe_of(job, overrides), [existing_point(job, point)])
    if answer.error is not None:
        raise answer.error
    return answer


def _of_recording(
    path: Path,
    overrides: Overrides,
    job: Path | None,
    latitude_deg: float | None,
    longitude_deg: float | None,
    altitude_m: float | None,
    rate_hz: float | None,
    accept_broken_seal: bool,
) -> Answer:
    from logger.errors import InputError
    from logger.survey.answers import recording_answer
    from logger.survey.points import job_around, load_sweep

    if (latitude_deg is None) != (longitude_deg is None):
        raise click.UsageError("give both --latitude and --longitude, or neither")
    if path.is_dir():
        raise InputError("is a folder", str(path), hint="horizon-logger replay JOB POINT")
    if job is None and (job := job_around(path)) is not None:
        say(f"with the job around it, {job}; another is chosen by --job")
    sweep = load_sweep(path, rate_hz=rate_hz, accept_broken_seal=accept_broken_seal)
    return recording_answer(sweep, job, (latitude_deg, longitude_deg, altitude_m), overrides)


def _tell(
    answer: Answer, json_file: str | None, samples_file: Path | None, pictures_folder: Path | None
) -> None:
    from logger.report.comparison import changes_text
    from logger.report.files import write_point
    from logger.report.sentences import answer_text
    from logger.report.survey_csv import samples_csv
    from logger.survey.changes import changes_between, with_changes

    result = answer.result
    assert result is not None
    for recording in result.recordings:
        for problem in recording.problems:
            say(f"{recording.path}: {problem}")
    if samples_file:
        put_out(samples_file, samples_csv(result.horizon.sight))
    if pictures_folder:
        for path in write_point(pictures_folder, result):
            say(f"wrote {path}")
    document, told = answer.document, [answer_text(result)]
    if answer.before is not None:
        changes = changes_between(answer.before, answer.document)
        document = with_changes(document, answer.before)
        told.append("\n" + changes_text(changes))
    give(json_file, document, *told)


def _batch(
    root: Path, overrides: Overrides, processes: int | None, json_file: str | None
) -> NoReturn:
    from logger.access import read_weather
    from logger.survey.answers import worst
    from logger.survey.batch import (
        batch_document,
        batch_line,
        job_folders,
        job_line,
        worked_through,
    )

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
    give(json_file, batch_document(done))
    say(batch_line(done))
    say("next: horizon-logger compare JOB, for a job that moved")
    click.get_current_context().exit(worst(job.code for job in done))
