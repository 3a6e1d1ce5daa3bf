#!/usr/bin/env python
"""Make the pictures of README and docs again from the shipped survey: docs/pictures/*.png."""

from __future__ import annotations

import datetime as dt
from functools import partial
from pathlib import Path

from logger.files import write_atomically
from logger.job import read_job
from logger.report.document import as_png, pages_as_png
from logger.survey.answers import answers
from logger.survey.demo import shipped_survey
from logger.survey.recipe import recipe_of
from logger.survey.report import job_report, with_report

FOLDER = Path(__file__).parent.parent / "docs" / "pictures"
POINT, KINDS = "yard", ("sun paths", "months", "shade")
# The same survey gives the same pictures, whenever they are made.
MADE = dt.date(2026, 5, 20)


def main() -> None:
    job = read_job(shipped_survey())
    found = list(answers(job, recipe_of(job), finish=partial(with_report, job)))
    report = job_report(job, found, MADE)
    chosen = {
        f"{POINT}-{kind.replace(' ', '-')}": picture.svg
        for point in report.points
        for picture in point.pictures
        for kind in KINDS
        if picture.names == (POINT, kind)
    }
    if len(chosen) != len(KINDS):
        raise SystemExit(f"the shipped survey lacks a picture of {POINT}")
    pictures = as_png(chosen)
    pages = pages_as_png(report, dots_per_inch=90)
    pictures["report-cover"] = pages[0]
    for stem, png in pictures.items():
        write_atomically(FOLDER / f"{stem}.png", png)
        print(f"wrote {FOLDER / stem}.png")


if __name__ == "__main__":
    main()
