"""The reference says what the code says."""

from logger.cli import COMMANDS


def test_the_reference_is_not_stale(make_reference):
    stale = make_reference.write(make_reference.pages(), check=True)
    assert not stale, f"run python tools/make_reference.py: {stale}"


def test_every_command_stands_in_it(docs):
    commands = (docs / "reference" / "commands.md").read_text(encoding="utf-8")
    assert all(f"## horizon-logger {name}\n" in commands for name in COMMANDS)


def test_a_changed_page_is_called_stale(make_reference, monkeypatch, tmp_path):
    monkeypatch.setattr(make_reference, "PAGES", tmp_path)
    pages = {"settings.md": "one\n"}
    assert make_reference.write(pages, check=True) == ["settings.md"]
    assert make_reference.write(pages, check=False) == []
    assert make_reference.write(pages, check=True) == []
