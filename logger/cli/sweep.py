"""``horizon-logger sweep``: record a sweep along the skyline and say what it means."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from logger.cli.options import json_option, leave_by_gates, say, write_json

if TYPE_CHECKING:
    from logger.acquisition import Capture, Clock
    from logger.live import LiveSession


@click.command()
@click.argument("job", type=click.Path(path_type=Path))
@click.argument("point")
@click.option("--port", "url", required=True, metavar="URL", help="Where the board is.")
@click.option("--seconds", type=click.FloatRange(min=0.1), help="End by itself after this time.")
@click.option("--leaf", type=click.Choice(["in leaf", "bare", "none"]), help="State of the trees.")
@click.option("--observer", default="", help="Who holds the board.")
@json_option
def command(
    job: Path,
    point: str,
    url: str,
    seconds: float | None,
    leaf: str | None,
    observer: str,
    json_file: str | None,
) -> None:
    """Sweep the board along the skyline at POINT of JOB.

    Everything received is recorded at once. The board's trigger key or Ctrl-C ends the sweep;
    then the point's result is worked out from all of its recordings.
    """
    from logger.acquisition import Capture, RecordingWriter, SystemClock, open_link
    from logger.acquisition.writer import utc_text
    from logger.job import folder_name, read_job, result_path, sweep_path
    from logger.job import write_json as store
    from logger.live import LiveSession
    from logger.orientation import Corrections, declination_at
    from logger.safety import short_notice
    from logger.survey import point_result, site_year

    survey = read_job(job)
    name = folder_name(point)
    say(short_notice())
    clock = SystemClock()
    started = clock.utc()
    header = {
        "started": utc_text(started),
        "point": name,
        "latitude": survey.site.latitude_deg,
        "longitude": survey.site.longitude_deg,
        "elevation_m": survey.site.elevation_m,
        "purpose": "sweep",
    }
    known = survey.point(name)
    extra = {
        "sight_height_m": known.sight_height_m,
        "module_height_m": known.module_height_m,
        "leaf": leaf,
        "observer": observer or None,
    }
    header |= {key: value for key, value in extra.items() if value is not None}
    path = sweep_path(survey, name, started)
    # The port first: a wrong name must not leave an empty recording behind.
    link = open_link(url)
    capture = Capture(link, lambda: open_link(url), RecordingWriter(path, header), clock, say=say)
    corrections = Corrections(declination_at(survey.site, started.date()))
    session = LiveSession(capture.builder, corrections, survey.site, started)
    say(f"recording {path}; the board's trigger key or Ctrl-C ends the sweep")
    try:
        _follow(capture, session, clock, seconds)
    finally:
        capture.close()
        say(f"kept {path}")
    result = point_result(survey, name, site_year(survey))
    document = result.as_dict()
    store(result_path(survey, name), document)
    if json_file:
        write_json(json_file, document)
    if json_file != "-":
        from logger.report.answer import answer_text

        click.echo(answer_text(document))
    leave_by_gates(result.gates)


def _follow(capture: Capture, session: LiveSession, clock: Clock, seconds: float | None) -> None:
    """Show the sweep until the trigger, the time or Ctrl-C ends it."""
    from firmware_protocol import Cue, encode
    from logger.live.screen import status_line

    on_terminal = click.get_text_stream("stderr").isatty()
    every_s = 0.2 if on_terminal else 1.0
    shown_at, warned_at = -every_s, -10.0
    try:
        while not session.trigger_pressed and not (seconds and capture.elapsed_s() > seconds):
            session.take(capture.step())
            now = capture.elapsed_s()
            if now - shown_at < every_s:
                continue
            shown_at = now
            view = session.view(now, capture.latest_s)
            line = status_line(view)
            click.echo(f"\r\x1b[K{line}" if on_terminal else line, err=True, nl=not on_terminal)
            if view.sun_near and now - warned_at > 3:
                warned_at = now
                capture.send(encode(Cue("SUN")))
                say(
                    f"\nthe sun is {view.sun_deg:.0f}° from your line of sight: "
                    "look away and leave this part"
                )
    except KeyboardInterrupt:
        pass
    if on_terminal:
        click.echo(err=True)
