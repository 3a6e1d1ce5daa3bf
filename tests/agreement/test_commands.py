"""``agreement`` and ``class``, on sweeps by virtual observers."""

from __future__ import annotations

import datetime as dt
import json
import re
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from pypdf import PdfReader

from logger.cli import main
from logger.job import create_job, read_job
from logger.recording import write_recording
from logger.simulation import (
    DEFAULT_SITE,
    DEFAULT_START,
    BoardSettings,
    Operator,
    Scene,
    Sensor,
    scene_named,
    simulate_sweep,
)
from logger.survey import classroom

SCENE = scene_named("ridge", 4)


def run(*arguments: object) -> Result:
    """A command, in this process."""
    return CliRunner().invoke(main, [str(a) for a in arguments], catch_exceptions=False)


def swept(path: Path, observer: str, seed: int, bias_deg: float, days: int = 0) -> None:
    """A sweep on a slow link by somebody who traces as high as that, with a board without iron."""
    done = simulate_sweep(
        Scene("ridge", SCENE.azimuth_deg, SCENE.elevation_deg + bias_deg, ()),
        Operator(speed_deg_s=20.0),
        Sensor(index_error_deg=0.0).without_iron(),
        DEFAULT_SITE,
        DEFAULT_START + dt.timedelta(days=days, minutes=seed),
        seed,
        settings=BoardSettings(rate_hz=20),
    )
    more = {"observer": observer} if observer else {}
    write_recording(path, done.header | more, done.chunks, done.notes)


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three observers, one of whom swept twice; not to be changed."""
    folder = tmp_path_factory.mktemp("agreement") / "hill"
    create_job(folder, DEFAULT_SITE)
    for seed, (name, bias) in enumerate(
        [("Ada", 0.6), ("Bo", -0.4), ("", 0.1), ("  ada ", 0.5)], start=1
    ):
        swept(folder / "sweeps" / "top" / f"2026-{seed}.sweep", name, seed, bias)
    (folder.parent / "truth.csv").write_text(SCENE.as_csv(), encoding="utf-8")
    return folder


@pytest.fixture
def copy(job: Path, tmp_path: Path) -> Path:
    """The job, to be changed."""
    return shutil.copytree(job, tmp_path / "copy", ignore=shutil.ignore_patterns("results"))


def test_every_observer_has_a_bias_against_the_truth(job: Path, tmp_path: Path) -> None:
    picture = tmp_path / "all.png"
    done = run(
        "agreement", job, "top", "--reference", job.parent / "truth.csv", "--json", "-",
        "--picture", picture,
    )  # fmt: skip
    assert done.exit_code == 0, done.stderr
    found = json.loads(done.stdout)
    bias = {one["name"]: one["bias_deg"]["value"] for one in found["observers"]}
    assert bias == pytest.approx({"Ada": 0.55, "Bo": -0.4, "2026-3": 0.1}, abs=0.15)
    assert [one["sweeps"] for one in found["observers"]] == [2, 1, 1]
    assert found["lift_deg"]["repeatability"]["freedom"] == 1
    assert found["annual_access"]["reproducibility"]["value"] > 0
    assert picture.read_bytes().startswith(b"\x89PNG")


def test_a_found_tracing_bias_goes_into_the_job_with_where_it_is_from(
    job: Path, copy: Path
) -> None:
    done = run("agreement", copy, "top", "--reference", job.parent / "truth.csv", "--set-tracing")
    assert done.exit_code == 0, done.stderr
    assert "That is too few" in done.stdout
    settings = read_job(copy).settings
    assert settings.tracing_bias_from.startswith("3 observers at top against truth.csv; too few")
    assert settings.tracing_bias_deg > 0.4
    assert f"from {settings.tracing_bias_from}" in run("replay", copy, "top").stdout
    # Another value is from elsewhere.
    assert run("settings", copy, "tracing_bias_deg=0.2").exit_code == 0
    assert read_job(copy).settings.tracing_bias_from == ""


def test_one_sweep_alone_is_refused_with_what_to_do(copy: Path) -> None:
    for path in sorted((copy / "sweeps" / "top").iterdir())[1:]:
        path.unlink()
    done = run("agreement", copy, "top")
    assert done.exit_code == 2
    assert "two are needed" in done.stderr


def test_a_recording_that_cannot_be_read_is_named_and_the_others_are_told(copy: Path) -> None:
    sealed = (copy / "sweeps" / "top" / "2026-1.sweep").read_bytes()
    (copy / "sweeps" / "top" / "2026-9.sweep").write_bytes(sealed.replace(b"Ada", b"Eve"))
    done = run("agreement", copy, "top")
    assert done.exit_code == 3
    assert "left out" in done.stderr
    assert "3 observers, 4 sweeps" in done.stdout


def test_a_class_gets_a_line_each_and_a_recording_handed_in_twice_is_named(
    job: Path, tmp_path: Path
) -> None:
    folder = tmp_path / "class"
    sweeps = sorted((job / "sweeps" / "top").iterdir())
    for name, path in zip(("Ada", "Bo", "Cy", "Di"), [*sweeps[:3], sweeps[1]], strict=True):
        create_job(folder / name.lower(), DEFAULT_SITE, name=name)
        kept = folder / name.lower() / "sweeps" / "here" / "one.sweep"
        kept.parent.mkdir(parents=True)
        shutil.copy(path, kept)
    done = run("class", folder, "--reference", job.parent / "truth.csv", "--json", "-")
    assert done.exit_code == 4
    assert "Di handed in the recording of Bo" in done.stderr
    found = json.loads(done.stdout)
    lines = {one["name"]: one["causes"] for one in found["students"]}
    assert list(lines) == ["Ada", "Bo", "Cy"]
    # 0.6° too high over a ridge costs more than anything else that Ada did
    assert next(c["cause"] for c in lines["Ada"] if not c["well"]) == "level"
    assert lines["Ada"][0]["told"].startswith("traced 0.6° too high")
    assert lines["Ada"][0]["effect"] < -0.003 < lines["Cy"][0]["effect"]
    assert (folder / "class.pdf").read_bytes().startswith(b"%PDF")
    assert "tagged" not in done.stderr
    (folder / "di" / "job.toml").write_text("no job any more")
    done = run("class", folder)
    assert done.exit_code == 3
    assert "di/job.toml: is no valid TOML" in done.stderr
    assert "Cy" in done.stdout


def test_observers_of_one_job_are_a_class_too(job: Path, tmp_path: Path) -> None:
    done = run("class", job, "--output", tmp_path / "wall.pdf")
    assert done.exit_code == 0, done.stderr
    lines = dict(re.findall(r"^(\S+) +\d\d\.\d % \(([−+]\d\.\d)\)", done.stdout, re.MULTILINE))
    off = {name: float(points.replace("−", "-")) for name, points in lines.items()}
    assert list(off) == ["Ada", "Bo", "2026-3"]  # "ada" is Ada
    assert off["Ada"] < -0.2 < 0.2 < off["Bo"]  # Ada traced too high
    assert re.search(r"^Ada .*traced 0\.\d° too high", done.stdout, re.MULTILINE)


def test_virtual_observers_make_a_class_with_known_faults(tmp_path: Path) -> None:
    folder = tmp_path / "virtual"
    done = run("simulate", "--observers", "3", "--output", folder, "--seed", "3")
    assert done.exit_code == 0, done.stderr
    assert (folder / "faults.csv").read_text().splitlines()[1:] == [
        "student 01,", "student 02,", "student 03,compass not turned enough",
    ]  # fmt: skip
    done = run("class", folder, "--reference", folder / "truth.csv", "--json", "-")
    assert done.exit_code == 0, done.stderr
    told = {
        one["name"]: " ".join(c["told"] for c in one["causes"] if not c["well"])
        for one in json.loads(done.stdout)["students"]
    }
    assert "compass not turned enough" in told["student 03"]
    assert "compass" not in told["student 01"] + told["student 02"]


def test_the_blank_sheet_is_a_pdf_in_the_job(copy: Path) -> None:
    done = run("report", copy, "--blank")
    assert done.exit_code == 0, done.stderr
    assert (copy / "report" / "blank.pdf").read_bytes().startswith(b"%PDF")
    assert not (copy / "results").exists()


def test_the_report_says_what_changed_since_an_earlier_job(
    job: Path, copy: Path, tmp_path: Path
) -> None:
    later = tmp_path / "later"
    create_job(later, DEFAULT_SITE)
    swept(later / "sweeps" / "top" / "9.sweep", "", 9, 6.0, days=2 * 365)
    ran = run("report", later, "--earlier", job, "--json", "-", "--set", "tracing_bias_deg=0.1")
    assert ran.exit_code in (0, 4), ran.stderr
    (found,) = json.loads(ran.stdout)["changed"]
    assert (found["then"], found["now"]) == ("2026-05-14", "2028-05-13")
    (rest,) = found["changes"]
    assert rest["significant"] is True
    assert rest["difference_deg"]["value"] == pytest.approx(6.0, abs=0.6)
    assert found["annual_access"]["value"] < 0
    text = "".join(page.extract_text() for page in PdfReader(later / "report/report.pdf").pages)
    assert "What changed" in text
    wrong_way = run("report", copy, "--earlier", later)
    assert wrong_way.exit_code == 3
    assert "later than" in wrong_way.stderr


def test_every_check_that_a_class_is_told_of_is_one_of_the_program() -> None:
    page = (Path(__file__).parents[2] / "docs/reference/checks.md").read_text(encoding="utf-8")
    for name in (*classroom.COMPASS, *classroom.PASSES, *classroom.RANGE):
        assert f"\n| {name} |" in page
