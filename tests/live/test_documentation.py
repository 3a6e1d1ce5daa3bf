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
    """A shell in a terminal of 80 by 24 characters where there is tmux, else without a terminal."""

    def __init__(self, folder: Path) -> None:
        self.terminal = sys.platform != "win32" and shutil.which("tmux") is not None
        self._folder = folder
        self._tmux = ["tmux", "-u", "-L", folder.parent.name + folder.name, "-f", "/dev/null"]
        if self.terminal:
            size = ["-x", "80", "-y", "24"]
            subprocess.run(
                [*self._tmux, "new-session", "-d", *size, "-c", str(folder), "sh"], check=True
            )

    def run(self, arguments: list[str]) -> tuple[int, str]:
        """Run a command; its exit code and what the terminal then shows."""
        command = [COMMAND, *arguments]
        if not self.terminal:
            done = subprocess.run(
                command, cwd=self._folder, stdin=subprocess.DEVNULL, capture_output=True,
                encoding="utf-8", timeout=TIMEOUT_S, check=False,
            )  # fmt: skip
            return done.returncode, done.stdout + done.stderr
        signal = shlex.join([*self._tmux, "wait-for", "-S", "done"])
        line = f"clear; {shlex.join(command)}; echo $? > code; {signal}"
        subprocess.run([*self._tmux, "send-keys", "-l", line], check=True)
        subprocess.run([*self._tmux, "send-keys", "Enter"], check=True)
        with subprocess.Popen([*self._tmux, "wait-for", "done"]) as done:
            for _ in range(TIMEOUT_S):
                with contextlib.suppress(subprocess.TimeoutExpired):
                    done.wait(timeout=1.0)
                    return int((self._folder / "code").read_text()), self._shown()
                if self._shown().rstrip().endswith("(Enter: no more names):"):
                    subprocess.run([*self._tmux, "send-keys", "Enter"], check=True)
            done.kill()
        raise AssertionError(f"{arguments}: {self._shown()}")

    def _shown(self) -> str:
        shown = [*self._tmux, "capture-pane", "-p", "-S", "-200"]
        return subprocess.run(shown, check=True, capture_output=True, encoding="utf-8").stdout

    def close(self) -> None:
        if self.terminal:
            subprocess.run([*self._tmux, "kill-server"], check=False)


def test_the_tutorial_is_a_first_survey_in_at_most_twelve_commands(tmp_path: Path) -> None:
    simulate, *steps = commands("tutorial.md")[:11]
    assert [step[0] for step in steps].count("sweep") == 2
    assert len(steps) + 1 <= 12
    shell = Shell(tmp_path)
    link = ["--pty"] if shell.terminal else []
    board = subprocess.Popen(
        [COMMAND, *simulate[: simulate.index("--tcp")], *link, "--speed", "0"],
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


@pytest.mark.parametrize("page", OURS)
def test_every_link_of_a_page_leads_somewhere(page: str) -> None:
    text = (DOCS / page).read_text(encoding="utf-8")
    for target in re.findall(r"\]\(([^)#]+)", text):
        if "://" not in target:
            assert ((DOCS / page).parent / target).exists(), f"{page}: {target}"


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
