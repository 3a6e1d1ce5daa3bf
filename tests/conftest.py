"""What all tests share: commands in this process or as installed, and boards for them."""

import contextlib
import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from hypothesis import settings

from logger.cli import main

# As the command itself has it: threads for small matrices only wait for each other.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

COMMAND = Path(sys.executable).with_name("horizon-logger")
TIMEOUT_S = 120

# A busy machine is slow, not wrong; and the same tree passes or fails alike on every run. New
# examples are searched with `pytest --hypothesis-profile=search`.
settings.register_profile("steady", deadline=None, derandomize=True)
settings.register_profile("search", deadline=None, derandomize=False)
settings.load_profile("steady")


def pytest_terminal_summary(terminalreporter, config):
    """The order is another each time; this makes it again."""
    seed = getattr(config.option, "randomly_seed", None)
    terminalreporter.write_line(f"order of the tests: --randomly-seed={seed}")


@dataclass(frozen=True)
class Ran:
    """How a command ended."""

    code: int
    out: str
    err: str


@pytest.fixture(scope="session")
def run():
    """Run a command in this process; whatever its exit code, it ends by itself."""

    def call(*arguments, cwd="."):
        with contextlib.chdir(cwd):
            done = CliRunner().invoke(main, [str(a) for a in arguments], prog_name=COMMAND.name)
        if done.exception is not None and not isinstance(done.exception, SystemExit):
            raise done.exception
        return Ran(done.exit_code, done.stdout, done.stderr)

    return call


@pytest.fixture(scope="session")
def installed():
    """Run the installed command; never a traceback, whatever the exit code."""

    def call(*arguments, cwd=None):
        done = subprocess.run(
            [str(COMMAND), *map(str, arguments)],
            stdin=subprocess.DEVNULL,
            capture_output=True,
            encoding="utf-8",
            timeout=TIMEOUT_S,
            cwd=cwd,
            check=False,
        )
        assert "Traceback" not in done.stderr, done.stderr
        assert "Warning" not in done.stderr, done.stderr  # of Python's or of a library's
        return Ran(done.returncode, done.stdout, done.stderr)

    return call


@contextlib.contextmanager
def virtual_board(*arguments):
    """A virtual board as a process of its own; yields what to give to --port."""
    process = subprocess.Popen(
        [str(COMMAND), "simulate", *map(str, arguments)],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        encoding="utf-8",
        env={**os.environ, "PYTHONUNBUFFERED": "1"},
    )
    try:
        yield process.stdout.readline().strip()
    finally:
        process.terminate()
        process.communicate(timeout=TIMEOUT_S)


@pytest.fixture(scope="session")
def board():
    """See `virtual_board`."""
    return virtual_board


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    """Debian's chromium, driven by playwright (which drives no unaltered Firefox)."""
    api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    path = shutil.which("chromium")
    if path is None:
        pytest.skip("no chromium on this machine")
    with api.sync_playwright() as driver:
        opened = driver.chromium.launch(executable_path=path, args=["--no-sandbox"])
        yield opened
        opened.close()
