"""The public face offers what its page shows, and loads nothing before it is used."""

import doctest
import json
import subprocess
import sys
from pathlib import Path

import pytest

import logger

ROOT = Path(__file__).parents[2]


def test_the_page_s_examples_give_what_it_shows(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(ROOT)
    failed, tried = doctest.testfile(str(ROOT / "docs" / "library.md"), module_relative=False)
    assert tried > 15
    assert failed == 0


@pytest.mark.parametrize("name", sorted(set(logger.__all__) - {"__version__"}))
def test_every_name_is_there_and_explained(name: str) -> None:
    offered = getattr(logger, name)
    text = offered.__doc__ or ""
    assert "Parameters" in text or name == "Settings"
    assert name in (ROOT / "logger" / "__init__.py").read_text(encoding="utf-8")


def test_importing_it_loads_no_room() -> None:
    program = "import json, sys, logger; print(json.dumps(sorted(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, check=True)
    loaded = json.loads(done.stdout)
    assert not [m for m in loaded if m.startswith("logger.") or m in ("numpy", "pvlib", "click")]


def test_a_name_that_is_not_offered_is_called_so() -> None:
    with pytest.raises(AttributeError, match="horizons"):
        logger.horizons  # noqa: B018
