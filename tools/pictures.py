#!/usr/bin/env python
"""Make the pictures of README and docs again from the shipped survey: docs/pictures/*.png."""

from __future__ import annotations

import datetime as dt
import shutil
import tempfile
from functools import partial
from pathlib import Path

from logger.files import write_atomically
from logger.job import read_job
from logger.report.charts import drawn
from logger.report.content import figures_of, report_of, with_beside
from logger.report.document import document_data, laid_out
from logger.report.language import Words
from logger.report.pictures import Pictures
from logger.survey.answers import answers
from logger.survey.demo import shipped_survey
from logger.survey.recipe import recipe_of

FOLDER = Path(__file__).parent.parent / "docs" / "pictures"
POINT = "yard"
# The same survey gives the same pictures, whenever they are made.
MADE = dt.date(2026, 5, 20)


def main() -> None:
    with tempfile.TemporaryDirectory() as name:
        # Answers are stored in the job: a copy's.
        job = read_job(Path(shutil.copytree(shipped_survey(), Path(name) / "three-alders")))
        found = list(answers(job, recipe_of(job), finish=partial(with_beside, job, "en")))
        report = report_of(job, recipe_of(job), found, MADE, "horizon-logger report three-alders")
        pictures = Pictures()
        data = document_data(report, pictures, Words())
        folder = Path(tempfile.mkdtemp(dir=name))
        pages = laid_out(folder, "document.typ", data, pictures.files).compile(
            format="png", ppi=90.0
        )
    (point,) = (p for p in report.points if p.name == POINT)
    figures = figures_of(point, report.beside[POINT].shade, Words())
    shown = {f"{POINT}-{kind}": drawn(figure, "png") for kind, figure in figures.items()}
    shown |= {"report-cover": pages[0], "report-point": pages[2]}
    for stem, png in shown.items():
        write_atomically(FOLDER / f"{stem}.png", png)
        print(f"wrote {FOLDER / stem}.png")


if __name__ == "__main__":
    main()
