"""Every documented exit code can be provoked, and says what to do."""

import errno
import json
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from logger.cli import COMMANDS, main


def test_0_done_and_fit_for_use_and_only_json_on_standard_output(replayed):
    assert replayed.ran.code == 0
    result = replayed.result
    assert {"site", "declination", "samples", "quality", "horizon", "planes"} <= set(result)
    assert len(result["planes"][0]["solar_access"]["monthly"]) == 12


def test_0_when_the_reader_of_a_pipe_goes_away(ridge):
    command = Path(sys.executable).with_name("horizon-logger")
    done = subprocess.run(
        f'"{command}" replay "{ridge.recording}" --json - | "{sys.executable}" -c '
        '"import sys; sys.stdin.read(1)"',
        shell=True,
        capture_output=True,
        encoding="utf-8",
        timeout=60,
        check=False,
    )
    assert done.returncode == 0
    assert "Traceback" not in done.stderr
    assert "Error" not in done.stderr


def test_1_a_bug_is_a_bug(monkeypatch):
    def broken(*_):
        raise RuntimeError("unforeseen")

    monkeypatch.setattr("logger.geomagnetism.geomagnetic_field", broken)
    got = CliRunner().invoke(main, ["declination", "--latitude", "1", "--longitude", "1"])
    assert got.exit_code == 1


@pytest.mark.parametrize(
    "arguments",
    [
        ["replay", "missing.sweep"],
        ["replay", "."],
        ["replay", "nonsense.bin"],
        ["assess", "missing.csv", "--latitude=1", "--longitude=1", "--tilt=1", "--azimuth=1"],
        ["sweep", "JOB", "spot", "--port", "socket://127.0.0.1:1"],
        ["sweep", "JOB", "spot", "--port", "no-such-port"],
        ["sweep", "no-such-job", "spot", "--port", "loop://"],
    ],
)
def test_3_an_input_or_device_cannot_be_read(run, job, tmp_path, arguments):
    (tmp_path / "nonsense.bin").write_bytes(bytes(range(256)) * 10)
    done = run(*(job if a == "JOB" else a for a in arguments), cwd=tmp_path)
    assert done.code == 3
    assert done.err.count("error:") == 1


def test_3_a_broken_seal_by_name_and_4_when_accepted(run, ridge, tmp_path):
    content = bytearray(ridge.recording.read_bytes())
    content[content.index(b'"point":"') + 9] ^= 1
    broken = tmp_path / "broken.sweep"
    broken.write_bytes(content)
    refused = run("replay", broken, "--json", "-")
    assert refused.code == 3
    assert "broken seal" in refused.err
    assert refused.out == ""
    accepted = run("replay", broken, "--accept-broken-seal", "--json", "-")
    assert accepted.code == 4
    assert "recording readable" in accepted.err
    (recording,) = json.loads(accepted.out)["recordings"]
    assert not recording["sealed"]
    assert any("broken seal accepted" in p for p in recording["problems"])


def test_4_a_failed_check_is_named_and_the_result_still_given(run, ridge, tmp_path):
    job = shutil.copytree(ridge.job, tmp_path / "job")
    half = ("--from-azimuth", 180, "--to-azimuth", 90)
    run("edit", "exclude-span", job, "spot", *half, "--who", "A. Example", "--why", "a test")
    done = run("replay", job, "spot", "--json", "-")
    assert done.code == 4
    assert "sun's range measured" in done.err
    access = json.loads(done.out)["planes"][0]["solar_access"]["annual"]
    assert access["value"] is None
    assert access["low"] < access["high"]
    compared = run("compare", job)
    assert compared.code == 4
    (row, *_) = [line for line in compared.out.splitlines() if line.startswith("spot")]
    assert row.split()[:3] == ["spot", "not", "known"]
    assert "never" not in row
    assert "spot is not compared: not known" in compared.out


def test_every_command_has_help_and_a_line_in_the_list(run):
    listed = run("--help").out
    for name in COMMANDS:
        assert name in listed
        assert run(name, "--help").out.startswith("Usage: horizon-logger " + name)


def test_help_imports_nothing_heavy():
    code = (
        "import sys; from click.testing import CliRunner; from logger.cli import main; "
        "CliRunner().invoke(main, ['--help']); "
        "print([m for m in ('numpy', 'scipy', 'pandas', 'pvlib', 'matplotlib', 'serial', "
        "'typst', 'rich') if m in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        encoding="utf-8",
        check=True,
    )
    assert done.stdout.strip() == "[]"


def test_3_a_demo_that_the_disk_has_no_room_for_is_told_in_one_sentence(tmp_path, monkeypatch):
    full = OSError(errno.ENOSPC, "No space left on device")

    def refused(source, target, **_):
        raise shutil.Error([(str(source), str(target), str(full))] * 3)

    (tmp_path / "file").write_text("no folder")
    under_a_file = CliRunner().invoke(main, ["demo", "--output", str(tmp_path / "file" / "demo")])
    monkeypatch.setattr("shutil.copytree", refused)
    no_room = CliRunner().invoke(main, ["demo", "--output", str(tmp_path / "demo")])
    for done, why in ((under_a_file, "Not a directory"), (no_room, "No space left on device")):
        assert done.exit_code == 3
        assert done.stderr.startswith("error: ")
        assert done.stderr.count("\n") == 1
        assert why in done.stderr


def test_3_a_port_asked_for_that_cannot_be_opened_is_a_fault_in_json_too(run):
    done = run("ports", "--port", "socket://localhost:x")
    assert done.code == 3
    assert done.out == "socket://localhost:x: cannot be opened: it has no host and port number\n"
    done = run("ports", "--port", "/dev/none", "--json", "-")
    assert done.code == 3
    assert '"opened": false' in done.out


def test_130_an_interrupt(run, monkeypatch, tmp_path):
    def interrupted(*_, **__):
        raise KeyboardInterrupt

    monkeypatch.setattr("logger.job.read_job", interrupted)
    done = run("report", tmp_path)
    assert (done.code, done.err.strip()) == (130, "interrupted")
