"""The commands of all pages exist with their options, and those of the tutorial run."""

import re
import shlex
import sys
from pathlib import Path

import click
import pytest

from logger.cli import main

from .test_commands import Board, Terminal

ROOT = Path(__file__).parents[2]
DOCS = ROOT / "docs"
PAGES = [ROOT / "README.md", *sorted(p for p in DOCS.rglob("*.md") if p.parent.name != "reference")]


def commands(page: Path) -> list[list[str]]:
    """The arguments of every command shown after a prompt or between backquotes."""
    text = page.read_text(encoding="utf-8")
    shown = re.findall(r"^\s*(?:\$ )?horizon-logger (.+)$", text, re.M)
    shown += re.findall(r"`horizon-logger ([a-z][^`]*)`", text)
    return [shlex.split(line, comments=True) for line in shown]


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no pty")
def test_the_tutorial_is_a_first_survey_in_at_most_twelve_commands(
    tmp_path: Path, board: Board, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    simulate, *steps = commands(DOCS / "tutorial.md")[:11]
    assert [step[0] for step in steps].count("sweep") == 2
    assert len(steps) + 1 <= 12
    with board(*simulate[1 : simulate.index("--tcp")], "--pty", "--speed", "0") as address:
        for step in steps:
            words = [address if word.startswith("socket://") else word for word in step]
            terminal = Terminal(80, 24, *words)
            assert terminal.wait(enter_after=("(Enter: no more names): ", "Enter starts: ")) == 0, (
                f"{step}: {terminal.text}"
            )
    assert (tmp_path / "barn" / "report" / "report.pdf").exists()


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.stem)
def test_every_command_and_option_shown_exists(page: Path) -> None:
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


def test_the_jobs_shown_are_jobs(tmp_path: Path) -> None:
    from logger.job import read_job

    text = (DOCS / "job-folder.md").read_text(encoding="utf-8")
    (tmp_path / "job.toml").write_text("\n".join(re.findall(r"```toml\n(.*?)```", text, re.S)))
    recording = tmp_path / "sweeps" / "north eave" / "20260514T081231Z.sweep"
    recording.parent.mkdir(parents=True)
    recording.touch()
    job = read_job(tmp_path)
    assert job.point("north eave").module_height_m == 4.2
    assert "41 to 48.5 s excluded" in str(job.edits[0])
