"""The reference says what the code says."""

import sys
from pathlib import Path

from logger.cli import COMMANDS

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT / "tools"))

import make_reference  # noqa: E402 - a tool, outside the packages


def test_the_reference_is_not_stale_and_has_every_command():
    stale = make_reference.write(make_reference.pages(), check=True)
    assert not stale, f"run python tools/make_reference.py: {stale}"
    commands = (ROOT / "docs" / "reference" / "commands.md").read_text(encoding="utf-8")
    assert all(f"## horizon-logger {name}\n" in commands for name in COMMANDS)


def test_a_changed_page_is_called_stale(monkeypatch, tmp_path):
    monkeypatch.setattr(make_reference, "PAGES", tmp_path)
    pages = {"settings.md": "one\n"}
    assert make_reference.write(pages, check=True) == ["settings.md"]
    assert make_reference.write(pages, check=False) == []
    assert make_reference.write(pages, check=True) == []
