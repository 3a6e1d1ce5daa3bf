"""The commands of the tutorial and the how-tos: they run, or at least exist with their options."""

import re
import shlex
import subprocess
import sys
from pathlib import Path

import click
import pytest

from logger.cli import main

DOCS = Path(__file__).parents[2] / "docs"
COMMAND = str(Path(sys.executable).with_name("horizon-logger"))
OURS = [
    "tutorial.md", "job-folder.md", "how-to/survey-day.md", "how-to/connect-a-board.md",
    "how-to/sun-bearing.md", "how-to/marks-and-misclosure.md", "how-to/corner-by-corner.md",
    "how-to/merge-sweeps.md",
]  # fmt: skip


def commands(page: str) -> list[list[str]]:
    """The arguments of every command shown after a prompt or between backquotes."""
    text = (DOCS / page).read_text(encoding="utf-8")
    shown = re.findall(r"^\s*\$ horizon-logger (.+)$", text, re.M)
    shown += re.findall(r"`horizon-logger ([a-z][^`]*)`", text)
    return [shlex.split(line) for line in shown]


def test_the_tutorial_runs_as_it_stands(tmp_path: Path) -> None:
    simulate, *steps = commands("tutorial.md")[:11]
    board = subprocess.Popen(
        [COMMAND, *simulate[: simulate.index("--tcp")], "--speed", "0"],
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        encoding="utf-8",
    )
    with board:
        assert board.stdout is not None
        address = board.stdout.readline().strip()
        try:
            for step in steps:
                arguments = [address if a.startswith("socket://") else a for a in step]
                done = subprocess.run(
                    [COMMAND, *arguments],
                    cwd=tmp_path,
                    stdin=subprocess.DEVNULL,
                    capture_output=True,
                    encoding="utf-8",
                    timeout=120,
                    check=False,
                )
                assert done.returncode == 0, f"{step}: {done.stderr}"
        finally:
            board.terminate()
    assert (tmp_path / "barn" / "report" / "report.pdf").exists()
    assert (tmp_path / "barn" / "results" / "yard.json").exists()


@pytest.mark.parametrize("page", OURS)
def test_every_command_and_option_shown_exists(page: str) -> None:
    for words in commands(page):
        command: click.Command = main
        while words and isinstance(command, click.Group):
            found = command.get_command(click.Context(command), words[0])
            assert found is not None, f"{page}: {words}"
            command, words = found, words[1:]
        known = {
            name for option in command.params for name in (*option.opts, *option.secondary_opts)
        }
        for word in words:
            if word.startswith("--"):
                assert word.partition("=")[0] in known, f"{page}: {command.name} {word}"


@pytest.mark.parametrize("page", OURS)
def test_every_link_of_a_page_leads_somewhere(page: str) -> None:
    text = (DOCS / page).read_text(encoding="utf-8")
    for target in re.findall(r"\]\(([^)#]+)", text):
        if "://" not in target:
            assert ((DOCS / page).parent / target).exists(), f"{page}: {target}"


def test_the_jobs_shown_are_jobs(tmp_path: Path) -> None:
    from logger.horizon import edit_from_dict
    from logger.job import read_job

    text = (DOCS / "job-folder.md").read_text(encoding="utf-8")
    (tmp_path / "job.toml").write_text("\n".join(re.findall(r"```toml\n(.*?)```", text, re.S)))
    job = read_job(tmp_path)
    assert job.point("north eave").module_height_m == 4.2
    assert "41 to 48.5 s left out" in str(edit_from_dict(job.edits[0].change()))
