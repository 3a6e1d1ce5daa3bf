"""Where the documentation lies, and the tool that makes the reference."""

import importlib.util
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="session")
def docs():
    """The folder of pages."""
    return ROOT / "docs"


@pytest.fixture(scope="session")
def make_reference():
    """tools/make_reference.py as a module."""
    spec = importlib.util.spec_from_file_location(
        "make_reference", ROOT / "tools" / "make_reference.py"
    )
    module = importlib.util.module_from_spec(spec)
    sys.modules["make_reference"] = module
    spec.loader.exec_module(module)
    return module
