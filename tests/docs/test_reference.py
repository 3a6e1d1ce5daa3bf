"""The reference says what the code says."""

import pytest

from logger.cli import COMMANDS
from logger.survey.pipeline import survey_point  # noqa: F401 - the checks of its rooms are documented
from logger.survey.settings import setting_names


def test_the_reference_is_not_stale(make_reference):
    stale = make_reference.write(make_reference.pages(), check=True)
    assert not stale, f"run python tools/make_reference.py: {stale}"


def test_every_command_and_setting_stands_in_it(docs):
    commands = (docs / "reference" / "commands.md").read_text(encoding="utf-8")
    settings = (docs / "reference" / "settings.md").read_text(encoding="utf-8")
    assert all(f"## horizon-logger {name}\n" in commands for name in COMMANDS)
    assert all(f"| `{name}` |" in settings for name in setting_names())


def test_every_check_that_the_code_makes_is_explained_and_no_other(make_reference):
    made = {check.name for check in make_reference.found_checks()}
    assert made == set(make_reference.GATES)


def test_the_checks_of_a_real_result_are_among_them(make_reference):
    quality = {check["check"] for check in make_reference.shipped_result()["quality"]}
    assert quality
    assert quality <= set(make_reference.GATES)


def test_a_changed_page_is_called_stale(make_reference, monkeypatch, tmp_path):
    monkeypatch.setattr(make_reference, "PAGES", tmp_path)
    pages = {"checks.md": "one\n"}
    assert make_reference.write(pages, check=True) == ["checks.md"]
    assert make_reference.write(pages, check=False) == []
    assert make_reference.write(pages, check=True) == []
    (tmp_path / "checks.md").write_text("two\n")
    assert make_reference.write(pages, check=True) == ["checks.md"]


@pytest.mark.parametrize("page", ["commands", "settings", "checks", "formats"])
def test_a_page_of_the_reference_says_that_it_is_made(docs, page):
    assert "do not edit" in (docs / "reference" / f"{page}.md").read_text(encoding="utf-8")
