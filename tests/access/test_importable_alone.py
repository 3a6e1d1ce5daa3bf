"""The calculator serves any front end: it pulls in nothing of boards, sweeps, jobs or reports."""

import subprocess
import sys
from pathlib import Path

import logger

ROOMS = {path.parent.name for path in Path(logger.__file__).parent.glob("*/__init__.py")}


def test_it_pulls_in_the_ground_floor_and_nothing_else_and_is_cheap():
    program = "import sys, logger.access; print(*sys.modules)"
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, check=True)
    modules = done.stdout.decode().split()
    ours = {name.split(".")[1] for name in modules if name.startswith("logger.")}
    assert ours & ROOMS == {"access"}
    foreign = {"serial", "firmware_protocol", "click", "tomlkit", "matplotlib"}
    assert not (foreign | {"pvlib", "pandas", "scipy", "h5py"}) & set(modules)
