"""The commands of the tutorial and the how-tos: they run, or at least exist with their options."""

import contextlib
import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import click
import pytest

from logger.cli import main

DOCS = Path(__file__).parents[2] / "docs"
COMMAND = str(Path(sys.executable).with_name("horizon-logger"))
TIMEOUT_S = 120
OURS = [
    "tutorial.md", "job-folder.md", "how-to/survey-day.md", "how-to/connect-a-board.md",
    "how-to/sun-bearing.md", "how-to/closing-target.md", "how-to/corner-by-corner.md",
    "how-to/merge-sweeps.md",
]  # fmt: skip


def commands(page: str) -> list[list[str]]:
    """The arguments of every command shown after a prompt or between backquotes."""
    text = (DOCS / page).read_text(encoding="utf-8")
    shown = re.findall(r"^\s*\$ horizon-logger (.+)$", text, re.M)
    shown += re.findall(r"`horizon-logger ([a-z][^`]*)`", text)
    return [shlex.split(line) for line in shown]


class Shell:
    """A shell in a terminal of 80 by 24 characters."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._tmux = ["tmux", "-u", "-L", folder.parent.name + folder.name, "-f", "/dev/null"]
        size = ["-x", "80", "-y", "24"]
        self._do("new-session", "-d", *size, "-c", str(folder), "sh")

    def _do(self, *words: str) -> str:
        return subprocess.run(
            [*self._tmux, *words], check=True, capture_output=True, encoding="utf-8"
        ).stdout

    def run(self, arguments: list[str]) -> tuple[int, str]:
        """Run a command; its exit code and what the terminal then shows."""
        signal = shlex.join([*self._tmux, "wait-for", "-S", "done"])
        line = f"clear; {shlex.join([COMMAND, *arguments])}; echo $? > code; {signal}"
        self._do("send-keys", "-l", line)
        self._do("send-keys", "Enter")
        with subprocess.Popen([*self._tmux, "wait-for", "done"]) as done:
            for _ in range(TIMEOUT_S):
                with contextlib.suppress(subprocess.TimeoutExpired):
                    done.wait(timeout=1.0)
                    return int((self._folder / "code").read_text()), self._shown()
                if self._shown().rstrip().endswith(("(Enter: no more names):", "Enter starts:")):
                    self._do("send-keys", "Enter")
            done.kill()
        raise AssertionError(f"{arguments}: {self._shown()}")

    def _shown(self) -> str:
        return self._do("capture-pane", "-p", "-S", "-200")

    def close(self) -> None:
        self._do("kill-server")


@pytest.mark.skipif(shutil.which("tmux") is None, reason="no tmux: the tutorial is not typed")
def test_the_tutorial_is_a_first_survey_in_at_most_twelve_commands(tmp_path: Path) -> None:
    simulate, *steps = commands("tutorial.md")[:11]
    assert [step[0] for step in steps].count("sweep") == 2
    assert len(steps) + 1 <= 12
    shell = Shell(tmp_path)
    board = subprocess.Popen(
        [COMMAND, *simulate[: simulate.index("--tcp")], "--pty", "--speed", "0"],
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        encoding="utf-8",
    )
    with board:
        assert board.stdout is not None
        address = board.stdout.readline().strip()
        try:
            for step in steps:
                code, shown = shell.run([address if a.startswith("socket://") else a for a in step])
                assert code == 0, f"{step}: {shown}"
        finally:
            shell.close()
            board.terminate()
    assert (tmp_path / "barn" / "report" / "report.pdf").exists()


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
