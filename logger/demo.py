"""The survey that ships with the program, and where it lies."""

from __future__ import annotations

from pathlib import Path

from logger.errors import InputError


def shipped_survey() -> Path:
    """The job folder of the demo survey: inside an installed wheel, or in the source tree.

    Raises
    ------
    InputError
        This installation came without recordings.
    """
    here = Path(__file__).parent
    for folder in (here / "recordings", here.parent / "recordings"):
        for job in sorted(folder.glob("*/job.toml")):
            return job.parent
    raise InputError("this installation carries no demo survey", str(here / "recordings"))
