"""The reference says what the code says."""

import ast
from pathlib import Path

import pytest

from logger.cli import COMMANDS

ROOT = Path(__file__).parents[2]


def test_the_reference_is_not_stale(make_reference):
    stale = make_reference.write(make_reference.pages(), check=True)
    assert not stale, f"run python tools/make_reference.py: {stale}"


def test_every_command_stands_in_it(docs):
    commands = (docs / "reference" / "commands.md").read_text(encoding="utf-8")
    assert all(f"## horizon-logger {name}\n" in commands for name in COMMANDS)


def checks_in_the_code():
    """Names of checks that stand as plain text in a call of `Check`."""
    for path in (ROOT / "logger").rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "Check" and node.args:
                name = node.args[0]
                if isinstance(name, ast.Constant):
                    yield name.value


def test_every_check_that_the_code_names_is_explained(docs):
    page = (docs / "reference" / "checks.md").read_text(encoding="utf-8")
    named = set(checks_in_the_code())
    assert len(named) > 5
    assert {name for name in named if f"| {name} |" not in page} == set()


def test_a_changed_page_is_called_stale(make_reference, monkeypatch, tmp_path):
    monkeypatch.setattr(make_reference, "PAGES", tmp_path)
    pages = {"settings.md": "one\n"}
    assert make_reference.write(pages, check=True) == ["settings.md"]
    assert make_reference.write(pages, check=False) == []
    assert make_reference.write(pages, check=True) == []


@pytest.mark.parametrize("page", ["commands", "settings"])
def test_a_made_page_says_so(docs, page):
    assert "do not edit" in (docs / "reference" / f"{page}.md").read_text(encoding="utf-8")
