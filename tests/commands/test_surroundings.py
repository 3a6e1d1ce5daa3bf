"""What other programs set, and where output goes, never ends in a traceback."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from logger.cli.environment import visible

PROGRAM = [sys.executable, "-c", "from logger.cli import main; main()"]
PLACE = ["declination", "--latitude", "46.05", "--longitude", "14.51"]
FLAT = "azimuth_deg,elevation_deg\n" + "".join(f"{a},5\n" for a in range(0, 360, 5))
ASSESS = ["assess", "h.csv", "--latitude", "46.05", "--longitude", "14.51", "--tilt", "30",
          "--azimuth", "180"]  # fmt: skip


def run(*arguments, folder, output=subprocess.PIPE, **environment):
    return subprocess.run(
        [*PROGRAM, *arguments],
        cwd=folder,
        env={**os.environ, **environment},
        stdin=subprocess.DEVNULL,
        stdout=output,
        stderr=subprocess.PIPE,
        check=False,
    )


@pytest.mark.parametrize(
    "environment",
    [
        {"PYTHONIOENCODING": "cp437", "MPLBACKEND": "module://of_a_notebook"},
        {"PYTHONIOENCODING": "gbk", "SOURCE_DATE_EPOCH": "yesterday", "TZ": "Nowhere/Land"},
        {"PYTHONIOENCODING": "ascii", "PYTHONWARNINGS": "error"},
    ],
    ids=str,
)
def test_what_other_programs_set_does_not_matter(tmp_path: Path, environment) -> None:
    (tmp_path / "h.csv").write_text(FLAT)
    done = run(*ASSESS, folder=tmp_path, **environment)
    assert done.returncode in (0, 4), done.stderr.decode()
    assert b"Traceback" not in done.stderr


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no /dev/full here")
@pytest.mark.parametrize("more", [[], ["--json", "-"]])
def test_a_full_output_is_one_sentence(tmp_path: Path, more) -> None:
    with open("/dev/full", "wb") as full:
        done = run(*PLACE, *more, folder=tmp_path, output=full)
    assert done.returncode == 3
    assert done.stderr.decode().splitlines()[-1] == (
        "error: standard output cannot be written: No space left on device"
    )


@pytest.mark.skipif(os.name != "posix", reason="a folder in use cannot be removed there")
@pytest.mark.parametrize("command", [["demo"], ASSESS, ["new", "here", *PLACE[1:]]])
def test_a_working_folder_that_was_removed_is_no_traceback(tmp_path: Path, command) -> None:
    gone = tmp_path / "gone"
    gone.mkdir()
    script = f"rmdir '{gone}'; exec \"$@\""
    done = subprocess.run(
        ["sh", "-c", script, "sh", *PROGRAM, *command], cwd=gone, capture_output=True, check=False
    )
    assert done.returncode in (0, 3), done.stderr.decode()
    assert b"Traceback" not in done.stderr
    if command[0] == "new":
        assert done.stderr == b"error: the working folder: No such file or directory\n"


@pytest.mark.skipif(os.name != "posix", reason="names are Unicode there")
def test_a_name_that_is_no_utf_8_is_named_by_its_bytes(tmp_path: Path) -> None:
    done = run("assess", b"caf\xe9.csv", *ASSESS[2:], folder=tmp_path)
    assert done.returncode == 3
    assert b"cannot be read" in done.stderr


@pytest.mark.parametrize(
    ("outside", "shown"),
    [
        ("a\x1b[2Jb", "a\\x1b[2Jb"),
        ("bell\x07", "bell\\x07"),
        ("abc\u202efdp.exe", "abc\\u202efdp.exe"),
        ("zero\u200bwidth", "zero\\u200bwidth"),
        ("soft\u00adhyphen", "soft\\xadhyphen"),
        ("yard\U000e0041", "yard\\U000e0041"),  # a letter of no width, for a tag
        ("half\ud800a pair", "half\\ud800a pair"),
        ("one\ttwo\nthree", "one\ttwo\nthree"),
        ("Škocjan\u00a0° µT", "Škocjan\u00a0° µT"),
    ],
)
def test_a_text_from_outside_cannot_move_hide_or_turn(outside: str, shown: str) -> None:
    assert visible(outside) == shown
