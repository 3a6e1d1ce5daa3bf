"""The calculator serves any front end: it pulls in nothing of boards, sweeps, jobs or reports."""

import json
import subprocess
import sys

ALLOWED = {
    "logger",
    "access",
    "arrays",
    "checks",
    "errors",
    "files",
    "geometry",
    "horizon",
    "settings",
    "site",
    "structured",
    "sun",
}


def modules_after(statement):
    program = f"import json, sys\n{statement}\nprint(json.dumps(sorted(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, check=True)
    return json.loads(done.stdout)


def test_it_pulls_in_the_ground_floor_and_nothing_else_and_is_cheap():
    modules = modules_after("import logger.access")
    ours = {name.split(".")[1] for name in modules if name.startswith("logger.")}
    assert ours <= ALLOWED
    foreign = {"serial", "firmware_protocol", "click", "tomlkit", "matplotlib"}
    assert not (foreign | {"pvlib", "pandas", "scipy", "h5py"}) & set(modules)
