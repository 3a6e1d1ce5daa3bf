"""The declination as a surveyor gets it: printed, beyond the model's years, from a newer file."""

import json
import shutil

import pytest

from logger.geomagnetism import built_in_model

HERE = ("--latitude", 46.05, "--longitude", 14.51)


@pytest.mark.parametrize(
    ("arguments", "printed"),
    [
        # World Magnetic Model 2025 technical report (NOAA NCEI and BGS), table of test values: the
        # rows of 2025.0 at sea level, and one at 100 km.
        (("--latitude", 80, "--longitude", 0), "declination 1.28° east"),
        (("--latitude", 0, "--longitude", 120), "declination 0.16° west"),
        (("--latitude", -80, "--longitude", -120), "declination 68.78° east"),
        (
            ("--latitude", -80, "--longitude", -120, "--altitude", 100_000),
            "declination 68.21° east",
        ),
        (("--latitude", 0, "--longitude", 120), "dip -14.93°, strength 41.06 µT"),
        # 1.96 sqrt(0.26^2 + (5417 / 39677.9)^2)
        (("--latitude", 0, "--longitude", 120), "(± 0.58°, 95 %)"),
        (("--latitude", 0, "--longitude", 120), "WMM2025, 2025-01-01"),
    ],
)
def test_it_is_printed_with_its_side_and_its_error(run, arguments, printed):
    done = run("declination", *arguments, "--date", "2025-01-01")
    assert done.code == 0, done.err
    assert printed in done.out


def test_json_holds_the_same(run):
    done = run(
        "declination", "--latitude", 0, "--longitude", 120, "--date", "2025-01-01", "--json", "-"
    )
    got = json.loads(done.out)
    assert set(got) == {"declination_deg", "inclination_deg", "field_ut", "standard_error_deg",
                        "model", "date"}  # fmt: skip
    assert got["declination_deg"] == pytest.approx(-0.16, abs=0.01)
    assert got["inclination_deg"] == pytest.approx(-14.93, abs=0.01)
    assert got["standard_error_deg"] == pytest.approx(0.294, abs=0.001)


@pytest.mark.parametrize(
    ("day", "code", "says"),
    [
        ("2029-12-31", 0, ""),
        ("2030-01-02", 4, "less than a year outside the model's own years: good to 0.7° only"),
        ("2040-01-01", 4, "10 years outside the model's own years: good to 1.2° only (95 %)"),
        ("1970-01-01", 4, "55 years outside the model's own years: good to 5.7° only (95 %)"),
        ("9999-12-31", 2, "no magnetic model says anything of 9999-12-31"),
        ("0001-01-01", 2, "no magnetic model says anything of 0001-01-01"),
        ("2026-02-30", 2, "2026-02-30"),
    ],
)
def test_a_date_beyond_the_model_fails_a_check_or_is_refused_in_a_sentence(run, day, code, says):
    done = run("declination", *HERE, "--date", day)
    assert done.code == code
    assert says in done.err
    assert ("declination" in done.out) == (code != 2)


def test_near_the_magnetic_pole_the_compass_fails_a_check(run):
    done = run("declination", "--latitude", 86, "--longitude", 140, "--date", "2026-05-14")
    assert done.code == 4
    assert "not fit for use - compass usable here: the horizontal field is below" in done.err


@pytest.fixture
def newer(tmp_path):
    """The built-in model carried on to 2030, in the form in which models are published."""
    rows = (
        f"{n:3d}{m:3d}{g + 5 * dg:10.1f}{h + 5 * dh:10.1f}{dg:10.1f}{dh:10.1f}"
        for n, m, g, h, dg, dh in built_in_model().rows
    )
    path = tmp_path / "WMM.COF"
    path.write_text(
        "\n".join(["    2030.0      WMM-2030     11/13/2029", *rows, "9" * 48, "9" * 48])
    )
    return path


def test_a_newer_file_serves_the_declination_of_its_years(run, newer):
    done = run("declination", *HERE, "--date", "2032-07-01", "--model", newer)
    assert done.code == 0, done.err
    assert "WMM2030, 2032-07-01" in done.out
    newer.write_text(newer.read_text()[:3000])
    done = run("declination", *HERE, "--date", "2032-07-01", "--model", newer)
    assert done.code == 3
    assert "is no magnetic model" in done.err


def replayed(run, job, recording, *more):
    done = run("replay", recording, "--job", job, "--set", "draws=0", "--json", "-", *more)
    found = json.loads(done.out) if done.out else {}
    checks = {check["check"]: check for check in found.get("quality", ())}
    return done, found.get("declination"), checks.get("date within the magnetic model")


def test_a_sweep_beyond_the_models_years_keeps_its_answer_and_fails_a_check(run, ridge):
    _, now, check = replayed(run, ridge.job, ridge.recording, "--date", "2026-05-14")
    assert check is None
    done, then, check = replayed(run, ridge.job, ridge.recording, "--date", "1970-01-01")
    assert done.code == 4
    assert "date within the magnetic model" in done.err
    assert not check["passed"]
    assert check["value"] == 55
    assert "set the computer's clock" in check["why"]
    # A bearing or a declination of one's own needs no model.
    assert then["standard_error_deg"] > 5 * now["standard_error_deg"]
    _, given, check = replayed(
        run, ridge.job, ridge.recording, "--date", "1970-01-01", "--declination", 4.5
    )
    assert (given["value_deg"], check) == (4.5, None)


def test_a_newer_file_in_the_job_folder_serves_the_job(run, ridge, newer, tmp_path):
    job = tmp_path / "job"
    shutil.copytree(ridge.job, job)
    (recording,) = (job / "sweeps" / "spot").glob("*.sweep")
    later = ("--date", "2032-07-01")
    assert not replayed(run, job, recording, *later)[2]["passed"]
    name = ("--set", "magnetic_model=WMM.COF")
    done, _, _ = replayed(run, job, recording, *later, *name)
    assert done.code == 3
    assert "WMM.COF: cannot be read: No such file" in done.err
    shutil.copy(newer, job)
    done, declination, check = replayed(run, job, recording, *later, *name)
    assert check is None, done.err
    assert declination["source"] == "WMM2030 for 2032-07-01"
    (job / "WMM.COF").write_text(newer.read_text().replace("9999", "8888"))
    done, _, _ = replayed(run, job, recording, *later, *name)
    assert done.code == 3
    assert "is no magnetic model: line 92" in done.err
    done, _, _ = replayed(run, job, recording, *later, "--set", f"magnetic_model={newer}")
    assert done.code == 3
    assert "outside the job folder" in done.err
