"""``horizon-logger demo``: the shipped survey, from recordings to pictures and tables."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from logger.cli.options import check_line, give, json_option, leave_by_answers, say, tell
from logger.cli.parameters import FOLDER

if TYPE_CHECKING:
    from logger.job import Job


@click.command()
@click.option(
    "--output",
    type=FOLDER,
    default=Path("demo"),
    show_default=True,
    help="Folder for the job, the pictures and the tables; where it is taken, the next one free.",
)
@json_option
def command(output: Path, json_file: str | None) -> None:
    """Work out the survey that ships with the program; no board is needed.

    Its recordings were made by the virtual board in an invented place.
    """
    import datetime as dt
    from functools import partial

    from logger.errors import as_argument
    from logger.files import write_atomically
    from logger.job import read_job
    from logger.report.array import array_picture, array_text
    from logger.report.comparison import comparison_text
    from logger.report.content import report_of, with_beside
    from logger.report.document import write_document
    from logger.report.files import write_point, write_tables
    from logger.report.sentences import assumptions_once, point_story
    from logger.survey.answers import answers
    from logger.survey.array import array_result
    from logger.survey.compare import compare
    from logger.survey.demo import ROOF, calibrated_again, new_demo, shipped_survey
    from logger.survey.recipe import recipe_of

    folder = new_demo(output)
    if folder != output:
        say(f"{output} is left as it is: this demo goes into {folder}")
    job = read_job(folder / shipped_survey().name)

    def told(text: str) -> None:
        if json_file != "-":
            tell(text)

    for calibration in calibrated_again(job):
        for check in calibration.checks:
            told(f"{calibration.about.purpose}: {check_line(check)}")
    found = []
    recipe = recipe_of(job)
    for answer in answers(job, recipe, finish=partial(with_beside, job, "en")):
        found.append(answer)
        if answer.result is not None:
            write_point(folder, answer.result)
            told(f"\n{point_story(answer.result)}")
    today = dt.datetime.now().astimezone().date()
    report = report_of(job, recipe, found, today, f"horizon-logger report {job.folder.name}")
    write_atomically(folder / "report.pdf", write_document(report).pdf)
    write_tables(report, folder / "report-tables")
    give(json_file, {"points": [answer.document for answer in found]})
    told(f"\n{comparison_text(compare(recipe, [a.document for a in found if a.document]))}")
    told(f"\n{assumptions_once(report.points)}")
    told(f"\nwrote {folder / 'report.pdf'}, the document for the client, and the files beside it")
    told(f"\nA roof from two points swept: horizon-logger array {as_argument(folder / ROOF)}\n")
    roof = read_job(folder / ROOF)
    its_recipe = recipe_of(roof)
    swept = [answer.result for answer in answers(roof, its_recipe) if answer.result is not None]
    array = array_result(roof, its_recipe, swept)
    write_atomically(folder / "roof.png", array_picture(array))
    told(array_text(array))
    told(_north_from_hills(folder, roof))
    say("These recordings were made by the virtual board; no such place exists.")
    leave_by_answers(found, f"horizon-logger compare {as_argument(job.folder)}")


def _north_from_hills(folder: Path, roof: Job) -> str:
    """Write the hills behind the roof as elevation data tell of them; what to do with them."""
    import io
    import zipfile

    from logger.errors import as_argument
    from logger.files import write_atomically
    from logger.simulation.scenes import EAST_RIDGE, SWALLOW_HOUSE, WEST_EAVE
    from logger.simulation.terrain import crest_around, hgt_tile

    tiles = folder / "tiles"
    eye_m = (WEST_EAVE[2] + EAST_RIDGE[2]) / 2
    ground = crest_around(roof.site, SWALLOW_HOUSE.ridge().shape, eye_m)
    for south in (45, 46):  # the site is 6 km from the edge of its tile
        packed = io.BytesIO()
        with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
            archive.writestr(f"N{south}E014.hgt", hgt_tile(ground, south, 14))
        write_atomically(tiles / f"N{south}E014.hgt.zip", packed.getvalue())
    write_atomically(tiles / "LICENCE.txt", "made by the virtual board; no such hills exist\n")
    return (
        "North from the hills behind that roof, without a magnet: horizon-logger terrain "
        f"{as_argument(roof.folder)} --tiles {as_argument(tiles)}"
    )
