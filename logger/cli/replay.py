"""``horizon-logger replay``: work recordings out again, with any setting changed."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from contextlib import contextmanager, nullcontext
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from logger.cli.options import (
    json_option,
    leave_by_checks,
    plane_options,
    say,
    site_options,
    tell,
    write_json,
)
from logger.cli.setting_options import (
    OF_THE_SKY,
    OF_THE_SWEEP,
    changed_settings,
    setting_options,
)

if TYPE_CHECKING:
    from logger.job import Job
    from logger.site import Site
    from logger.survey.again import Again, Recipe
    from logger.survey.pipeline import PointResult


@click.command()
@click.argument("recording", type=click.Path(path_type=Path), required=False)
@click.option(
    "--job",
    metavar="JOB",
    type=click.Path(path_type=Path),
    help="Job whose site, planes and calibrations serve, and whose stored result is compared.",
)
@site_options(required=False)
@plane_options(required=False)
@click.option(
    "--declination",
    "declination_deg",
    type=float,
    help="Degrees, east positive; instead of the model's.",
)
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
    "--weather",
    "weather_file",
    type=click.Path(path_type=Path),
    help="Typical year, EPW or TMY3.  [default: clear sky]",
)
@setting_options(*OF_THE_SWEEP, *OF_THE_SKY)
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
    help="Instead of RECORDING: every point of every job in this folder.",
)
@click.option(
    "--processes",
    type=click.IntRange(min=1),
    help="That share a batch.  [default: as many as there are processors]",
)
@click.option(
    "--store",
    is_flag=True,
    help="Put the new results in place of those stored in the job; of whole points only.",
)
@json_option
def command(
    recording: Path | None,
    job: Path | None,
    latitude_deg: float | None,
    longitude_deg: float | None,
    altitude_m: float | None,
    tilt_deg: float | None,
    azimuth_deg: float | None,
    declination_deg: float | None,
    day: dt.datetime | None,
    rate_hz: float | None,
    weather_file: Path | None,
    samples_file: Path | None,
    pictures_folder: Path | None,
    accept_broken_seal: bool,
    batch_folder: Path | None,
    processes: int | None,
    store: bool,
    json_file: str | None,
) -> None:
    """Work out RECORDING: horizon, solar access and loss.

    RECORDING is a *.sweep file, a plain log of NMEA sentences with --rate, or the folder of a
    point's recordings in a job, JOB/sweeps/POINT: all of them together are the point. Where the
    job holds a stored result of the point, what changed against it is printed side by side.
    """
    from logger.access import Plane
    from logger.orientation import declination_given
    from logger.survey.again import Recipe

    if (recording is None) == (batch_folder is None):
        raise click.UsageError("give either RECORDING or --batch FOLDER")
    if (tilt_deg is None) != (azimuth_deg is None):
        raise click.UsageError("--tilt and --azimuth describe one plane: give both or neither")
    if (latitude_deg is None) != (longitude_deg is None):
        raise click.UsageError("give both --latitude and --longitude, or neither")
    planes = (
        (Plane("plane", tilt_deg, azimuth_deg),)
        if tilt_deg is not None and azimuth_deg is not None
        else ()
    )
    recipe = Recipe(
        changes=tuple(changed_settings().items()),
        declination=None if declination_deg is None else declination_given(declination_deg),
        date=day.date() if day else None,
        planes=planes,
        weather=weather_file,
    )
    recipe.survey()  # an unknown setting is refused before anything is read
    only_for_one = {
        "--job": job,
        "--latitude": latitude_deg,
        "--altitude": altitude_m,
        "--rate": rate_hz,
        "--samples": samples_file,
        "--pictures": pictures_folder,
        "--accept-broken-seal": accept_broken_seal or None,
    }
    if batch_folder is not None:
        _refuse("--batch", only_for_one)
        _batch(batch_folder, recipe, processes, store, json_file)
        return
    assert recording is not None
    if processes is not None:
        raise click.UsageError("--processes is for --batch")
    site = (latitude_deg, longitude_deg, altitude_m)
    if recording.is_dir():
        _refuse(
            "a point's folder", {n: only_for_one[n] for n in ("--rate", "--accept-broken-seal")}
        )
        survey, again = _whole_point(recording, job, recipe, site)
        if store:
            from logger.job import result_path
            from logger.job import write_json as put

            put(result_path(survey, again.result.name), again.document)
    else:
        if store:
            raise click.UsageError(
                "--store is for whole points: give a point's folder, JOB/sweeps/POINT, or --batch"
            )
        if job is None and (job := _job_around(recording)) is not None:
            say(f"with the job around it, {job}; another is chosen by --job")
        again = _recording(recording, job, recipe, site, rate_hz, accept_broken_seal)
    _write_files(again.result, again.document, samples_file, pictures_folder)
    if again.trouble:
        say(f"not compared with the stored result: {again.trouble}")
    if json_file:
        write_json(json_file, again.told())
    if json_file != "-":
        from logger.report.sentences import answer_text
        from logger.survey.changes import changes_text

        tell(answer_text(again.result))
        if again.changes is not None:
            click.echo("\n" + changes_text(again.changes))
    leave_by_checks(again.result.checks)


def _job_around(recording: Path) -> Path | None:
    """The job in whose ``sweeps/<point>/`` a recording lies."""
    from logger.job import JOB_FILE

    parents = recording.absolute().parents
    if len(parents) > 2 and parents[1].name == "sweeps" and (parents[2] / JOB_FILE).is_file():
        return parents[2]
    return None


def _refuse(what: str, options: dict[str, Any]) -> None:
    given = [name for name, value in options.items() if value is not None]
    if given:
        raise click.UsageError(f"{given[0]} is for one recording, not for {what}")


def _whole_point(
    folder: Path,
    job: Path | None,
    recipe: Recipe,
    place: tuple[float | None, float | None, float | None],
) -> tuple[Job, Again]:
    from logger.errors import InputError
    from logger.job import point_recordings, read_job
    from logger.site import Site
    from logger.survey.again import point_again

    folder = folder.resolve()
    if not any(folder.glob("*.sweep")):
        raise InputError(
            "is a folder without recordings",
            str(folder),
            hint="give a file, a point's folder JOB/sweeps/POINT, or --batch FOLDER",
        )
    survey = read_job(job or folder.parents[1])
    own = point_recordings(survey, folder.name)
    if not own or own[0].resolve().parent != folder:
        raise InputError("is no point of this job", str(folder), hint="JOB/sweeps/POINT")
    latitude, longitude, elevation = place
    site = survey.site
    if latitude is not None and longitude is not None:
        site = Site(latitude, longitude, elevation or 0.0)
    elif elevation is not None:
        site = Site(site.latitude_deg, site.longitude_deg, elevation)
    again = point_again(survey, folder.name, recipe, site=site)
    for sweep in again.result.sweeps:
        for problem in sweep.recording.problems:
            say(f"{sweep.recording.path}: {problem}")
    return survey, again


def _recording(
    path: Path,
    job: Path | None,
    recipe: Recipe,
    place: tuple[float | None, float | None, float | None],
    rate_hz: float | None,
    accept_broken_seal: bool,
) -> Again:
    from logger.access import SiteYear, read_weather
    from logger.job import read_job
    from logger.survey.again import Again, point_again
    from logger.survey.pipeline import default_plane, site_of, survey_point
    from logger.survey.points import load_sweep

    survey = read_job(job) if job else None
    sweep = load_sweep(path, rate_hz=rate_hz, accept_broken_seal=accept_broken_seal)
    for problem in sweep.recording.problems:
        say(f"{path}: {problem}")
    site: Site = site_of(sweep.recording, survey.site if survey else None, *place)
    point = sweep.recording.text("point") or path.stem
    around = _job_around(path)
    if survey and around and around.resolve() == survey.folder.resolve():
        point = path.absolute().parent.name  # in a job the folder decides
    if survey:
        return point_again(survey, point, recipe, site=site, sweeps=(sweep,))
    weather = read_weather(recipe.weather) if recipe.weather else None
    sun = SiteYear(site, recipe.planes or (default_plane(site),), recipe.access(), weather)
    result = survey_point(point, [sweep], sun, recipe.survey())
    return Again(result, result.as_dict(), None)


def _write_files(
    result: PointResult, document: Any, samples_file: Path | None, pictures_folder: Path | None
) -> None:
    from logger.files import write_atomically

    if samples_file:
        from logger.report.samples import samples_csv

        write_atomically(samples_file, samples_csv(result.horizon.sight))
    if pictures_folder:
        from logger.report.folder import write_point

        for path in write_point(pictures_folder, document, result.horizon.profile, result.site):
            say(f"wrote {path}")


def _batch(
    root: Path, recipe: Recipe, processes: int | None, store: bool, json_file: str | None
) -> None:
    from logger.survey.batch import JobDone, job_folders, job_line, worked_through, worst
    from logger.survey.batch_file import batch_file

    folders = job_folders(root)
    if recipe.weather:
        # A file that cannot be read is told once, not for every job.
        from logger.access import read_weather

        read_weather(recipe.weather)
    codes: list[int] = []
    with (
        batch_file(json_file, root) if json_file else nullcontext() as out,
        _progress(len(folders)) as progress,
    ):
        for folder, done in worked_through(folders, recipe, processes=processes, store=store):
            if not isinstance(done, JobDone):
                if out:
                    out.point(folder, done)
                continue
            codes.append(done.code)
            if out:
                out.job(done)
            progress(None if json_file == "-" else job_line(done, root))
        if out:
            out.end(worst(codes))
    fit, unfit = codes.count(0), codes.count(4)
    say(
        f"{len(codes)} job{'s' if len(codes) != 1 else ''}: {fit} fit for use, {unfit} not fit "
        f"for use, {len(codes) - fit - unfit} with points that could not be worked out"
    )
    click.get_current_context().exit(worst(codes))


@contextmanager
def _progress(jobs: int) -> Iterator[Any]:
    """A bar on a terminal, plain lines otherwise; takes a job's line for standard output."""
    import sys

    from rich.console import Console
    from rich.progress import (
        BarColumn,
        MofNCompleteColumn,
        Progress,
        TextColumn,
        TimeRemainingColumn,
    )

    if not sys.stderr.isatty():
        count = 0

        def plain(line: str | None) -> None:
            nonlocal count
            count += 1
            say(f"{count} of {jobs} jobs")
            if line is not None:
                click.echo(line)

        yield plain
        return
    columns = (TextColumn("jobs"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    with Progress(
        *columns, console=Console(stderr=True), redirect_stdout=False, redirect_stderr=False
    ) as bar:
        task = bar.add_task("jobs", total=jobs)

        def advance(line: str | None) -> None:
            if line is not None and sys.stdout.isatty():
                bar.console.print(line, markup=False, highlight=False)
            elif line is not None:
                click.echo(line)
            bar.advance(task)

        yield advance
