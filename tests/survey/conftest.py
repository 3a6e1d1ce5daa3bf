"""Jobs to work out again, made from the shipped survey."""

import shutil
from pathlib import Path

import pvlib
import pytest

from logger.edits import edit_from
from logger.job import add_edit
from logger.survey.demo import shipped_survey


def job_copy(folder: Path, points=("meadow",)) -> Path:
    """The shipped job with some of its points only."""
    source = shipped_survey()
    shutil.copytree(source / "calibrations", folder / "calibrations")
    for point in points:
        shutil.copytree(source / "sweeps" / point, folder / "sweeps" / point)
    text = (source / "job.toml").read_text(encoding="utf-8").partition("[[points]]")[0]
    (folder / "job.toml").write_text(text, encoding="utf-8")
    return folder


def edited(folder: Path, kind: str, point: str = "meadow", **what):
    """Enter an edit."""
    entry = {"who": "A. Example", "when": "2026-05-15T07:30:00Z", "why": "a test", **what}
    add_edit(folder, edit_from({"kind": kind, "point": point, **entry}))


@pytest.fixture(scope="session")
def copy_job():
    """See `job_copy`."""
    return job_copy


@pytest.fixture(scope="session")
def stored(run, tmp_path_factory):
    """A job of one point whose result is stored; not to be changed."""
    folder = job_copy(tmp_path_factory.mktemp("stored") / "alders")
    done = run("replay", folder, "meadow", "--json", "-")
    assert done.code == 0, done.err
    return folder


@pytest.fixture(scope="session")
def typical_year(tmp_path_factory):
    """A typical year for the shipped survey: pvlib's of a sunnier place, with four fifths of it."""
    folder = Path(pvlib.__file__).parent / "data"
    head, rest = (folder / "723170TYA.CSV").read_text(encoding="ascii").split("\n", 1)
    number, name, state, *_ = head.split(",")
    path = tmp_path_factory.mktemp("weather") / "alders.csv"
    place = ",".join([number, name, state, "1.0", "46.050", "14.510", "310"])
    titles, *rows = (line.split(",") for line in rest.splitlines())
    light = [titles.index(f"{name} (W/m^2)") for name in ("GHI", "DNI", "DHI")]
    for row in rows:
        for k in light:
            row[k] = f"{0.8 * float(row[k]):.0f}"
    path.write_text("\n".join([place, *map(",".join, [titles, *rows])]), encoding="ascii")
    return path
