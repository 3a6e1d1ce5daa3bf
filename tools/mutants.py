#!/usr/bin/env python
"""Change the code in many small ways, one at a time, and see whether the tests notice.

    python tools/mutants.py recording
    python tools/mutants.py codec --minutes 20
    python tools/mutants.py parallax --tries 200
    python tools/mutants.py access --show survivors.txt --folder FOLDER

Needs `pip install mutmut`. Works on a copy of this checkout; --minutes ends a room early, and the
figures are then those of the mutants tried, quick ones first; --tries takes so many at random (the
same ones each time) instead of all. Survivors are listed by their difference; a mutant
that changes nothing but the words of a message is counted apart. With --folder the copy is kept:
the same command again goes on where it stopped, or, once all were tried, tries what survived on the
tests as they are now.
"""

from __future__ import annotations

import argparse
import os
import random
import re
import shutil
import signal
import subprocess
import sys
import tempfile
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
ROOMS = {
    "codec": (
        "firmware_protocol: codec decoder",
        "tests/firmware_protocol: vectors codec_properties edges",
    ),
    "recording": (
        "logger/recording: reader decode",
        "tests/recording: recording plain_logs stream two_boards",
    ),
    "orientation": (
        "logger/orientation: sight attitude corrections",
        "tests/orientation: sight_lines figures odd_input",
    ),
    "calibration": (
        "logger/calibration: bearing level choose plane closing_target swing",
        "tests/limits",
        "tests/calibration: refusals bearing level store plane closing_target swing",
    ),
    "horizon": (
        "logger/horizon_fit: coverage heights labels edits drift result",
        "logger: edits",
        "tests/limits",
        "tests/horizon_fit",
    ),
    "parallax": (
        "logger/parallax: place outline carry things rows swept",
        "tests/parallax: place array_geometry array_command",
    ),
    "array": (
        "logger/survey: array gains",
        "logger/report: array",
        "tests/parallax: array_command",
        "tests/report: array_page",
    ),
    "terrain": ("logger/terrain: skyline heights north use", "tests/terrain: skyline north use"),
    "agreement": (
        "logger/agreement: iso5725 observers growth",
        "tests/agreement: iso5725 observers growth",
    ),
    "weather": (
        "logger/access: weather weather_files weather_checks",
        "logger/survey: weather_services",
        "tests/limits",
        "tests/access: weather weather_files",
        "tests/survey: weather_services",
    ),
    "sky": (
        "logger/access: skies light irradiance monthly_means sky_view",
        "tests/access: intervals laws monthly_means result sky_view transposition weather",
    ),
    "access": (
        "logger/access: calculator blocking window",
        "tests/access: result window blocking intervals best_plane",
    ),
    "job": ("logger/job: edits folder names", "tests/job"),
    "survey": (
        "logger/survey: compare changes recipe store answers",
        "tests/survey: compare changes answers",
    ),
    "report": (
        "logger/report: sentences tables comparison cover files language survey_csv",
        "tests/report: document sentences tables exports language",
        "tests/survey: changes compare",
    ),
    "page": ("logger/page: server moment photos", "tests/page: refusals", "tests/hostile: photos"),
    "live": (
        "logger/live: instruction pointer guide sweep_state",
        "tests/live: instruction pointer guide screen",
    ),
    "commands": (
        "logger/cli: declination new settings",
        "logger: places settings",
        "tests/commands: magnetic_model what_is_printed wrong_usage",
        "tests/job: new_command",
        "tests/ground: places",
    ),
}
"""Of each room the files that are changed, and the tests that should notice, folder by folder."""


def files_of(room: str) -> tuple[list[str], list[str]]:
    """Sources and tests of a room."""
    sources: list[str] = []
    tests: list[str] = []
    for group in ROOMS[room]:
        folder, _, stems = group.partition(": ")
        found, prefix = (tests, "test_") if folder.startswith("tests/") else (sources, "")
        found += [f"{folder}/{prefix}{stem}.py" for stem in stems.split()] or [folder]
    return sources, tests


OPTIONS = (
    "-p", "no:randomly", "-p", "no:cacheprovider",
    # They read the code as text, where every mutant stands beside the others.
    "--deselect", "tests/limits/test_every_check.py::"
    "test_every_check_of_the_program_has_its_last_and_first_value_here_and_is_explained",
    "--deselect", "tests/report/test_language.py::test_every_message_of_the_code_is_translated",
)  # fmt: skip
COPIED = (
    "logger",
    "firmware_protocol",
    "tests",
    "tools",
    "benchmarks",
    "recordings",
    "docs",
    "*.toml",
    "*.md",
)


def copy_of_the_checkout(folder: Path) -> None:
    """What the tests need, without what Python compiled: a change of the same length must count."""
    for pattern in COPIED:
        for path in ROOT.glob(pattern):
            if path.is_dir():
                leave = shutil.ignore_patterns("__pycache__", "build", "*.so")
                shutil.copytree(path, folder / path.name, ignore=leave)
            else:
                shutil.copy(path, folder / path.name)


def renew_tests(folder: Path) -> None:
    """The tests as they are now, into a copy that was made before."""
    for copy in (folder / "tests", folder / "mutants" / "tests"):
        leave = shutil.ignore_patterns("__pycache__")
        shutil.copytree(ROOT / "tests", copy, ignore=leave, dirs_exist_ok=True)


def set_up(folder: Path, sources: list[str], tests: list[str]) -> None:
    lines = ["[mutmut]", "source_paths=", *(f"    {name}" for name in sources)]
    lines += ["pytest_add_cli_args_test_selection=", *(f"    {name}" for name in tests)]
    lines += ["pytest_add_cli_args=", *(f"    {option}" for option in OPTIONS)]
    lines += ["timeout_multiplier=5"]
    lines += ["also_copy=", *(f"    {p.name}" for p in folder.iterdir())]
    (folder / "setup.cfg").write_text("\n".join(lines) + "\n", encoding="utf-8")


def run(folder: Path, minutes: float, children: int, names: list[str]) -> None:
    environment = {**os.environ, "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
    with open(folder / "mutmut.log", "wb") as log:
        process = subprocess.Popen(
            [sys.executable, "-m", "mutmut", "run", "--max-children", str(children), *names],
            cwd=folder, stdout=log, stderr=subprocess.STDOUT, env=environment,
            start_new_session=True,
        )  # fmt: skip
        try:
            process.wait(timeout=minutes * 60)
        except subprocess.TimeoutExpired:
            os.killpg(process.pid, signal.SIGTERM)
            process.wait()


ALONE = """
import os, resource, sys
import numpy, pandas, pvlib, pytest, scipy.optimize, scipy.spatial
for name in map(str.strip, sys.stdin):
    child = os.fork()
    if child == 0:
        os.environ["MUTANT_UNDER_TEST"] = name
        resource.setrlimit(resource.RLIMIT_CPU, (120, 120))
        nothing = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nothing, 1), os.dup2(nothing, 2)
        os._exit(pytest.main(["-x", "-q", "--hypothesis-seed=0", *sys.argv[1:]]))
    print(name, os.waitpid(child, 0)[1], flush=True)
"""


def noticed_alone(folder: Path, names: list[str], tests: list[str]) -> set[str]:
    """Of some mutants those that all of the room's tests notice, in a process for each.

    The quick way tries a mutant in a process that has imported the code already, on the tests
    that called the mutated function while they ran. So it misses what runs at import, and what
    a fixture that several tests share has called.
    """
    if not names:
        return set()
    done = subprocess.run(
        [sys.executable, "-c", ALONE, *OPTIONS, *tests], cwd=folder / "mutants", check=True,
        input="\n".join(["none", *names]), text=True, capture_output=True,
    )  # fmt: skip
    verdicts = dict(line.rsplit(" ", 1) for line in done.stdout.splitlines())
    if verdicts["none"] != "0":
        raise SystemExit("the tests fail without any change: nothing can be said")
    return {name for name in names if verdicts[name] != "0"}


def mutmut(folder: Path, *arguments: str) -> str:
    command = [sys.executable, "-m", "mutmut", *arguments]
    return subprocess.run(command, cwd=folder, capture_output=True, text=True, check=False).stdout


def states(folder: Path) -> dict[str, str]:
    found = re.findall(r"^\s+(\S+): (.+)$", mutmut(folder, "results", "--all", "true"), re.M)
    return dict(found)


def survivors_before(folder: Path, drawn: bool) -> list[str]:
    """What survived an earlier run that was not cut short; nothing where there was none."""
    found = states(folder) if (folder / "mutants").exists() else {}
    if "not checked" in found.values() and not drawn:
        return []
    return [name for name, state in found.items() if state in ("survived", "no tests")]


def only_words(difference: str) -> bool:
    """Whether a difference changes nothing but a text with a space or an upper-case XX in it."""
    changed = [x[1:] for x in difference.splitlines() if re.match(r"[+-][^+-]", x)]
    if len(changed) != 2:
        return False
    before, after = (re.sub(r"""(["'])(?:\\.|(?!\1).)*\1""", '""', line) for line in changed)
    text = re.findall(r"""(["'])((?:\\.|(?!\1).)*)\1""", changed[0])
    code = [re.findall(r"\{[^{}]*\}", line) for line in changed]  # what an f-string works out
    return before == after and code[0] == code[1] and any(" " in words for _, words in text)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("room", choices=ROOMS)
    parser.add_argument("--minutes", type=float, default=60.0)
    parser.add_argument("--children", type=int, default=2)
    parser.add_argument("--tries", type=int, help="So many mutants, drawn at random.")
    parser.add_argument("--quick", action="store_true", help="No second try of what survived.")
    parser.add_argument("--folder", type=Path, help="Keep the copy here, and go on with it.")
    parser.add_argument("--show", type=Path, help="Write the survivors' differences here.")
    wanted = parser.parse_args()
    sources, tests = files_of(wanted.room)
    with tempfile.TemporaryDirectory() as tmp:
        folder = wanted.folder or Path(tmp)
        names = survivors_before(folder, bool(wanted.tries))
        if (folder / "mutants").exists():
            renew_tests(folder)
        else:
            folder.mkdir(exist_ok=True)
            copy_of_the_checkout(folder)
        set_up(folder, sources, tests)
        if wanted.tries and not names:
            run(folder, wanted.minutes, wanted.children, ["none of them"])  # makes them all
            every = sorted(states(folder))
            names = random.Random(0).sample(every, min(wanted.tries, len(every)))
        run(folder, wanted.minutes, wanted.children, names)
        found = states(folder)
        if all(state == "not checked" for state in found.values()):
            print((folder / "mutmut.log").read_text("utf-8", "replace")[-2000:])
            return 1
        counts = Counter(found.values())
        survivors = [name for name, state in found.items() if state in ("survived", "no tests")]
        again = [] if wanted.quick else survivors
        with ThreadPoolExecutor(wanted.children) as pool:
            parts = [again[i :: wanted.children] for i in range(wanted.children)]
            alone = set().union(*pool.map(lambda part: noticed_alone(folder, part, tests), parts))
            survivors = [name for name in survivors if name not in alone]
            shown = pool.map(lambda name: mutmut(folder, "show", name), survivors)
            differences = dict(zip(survivors, shown, strict=True))
    words = sum(only_words(text) for text in differences.values())
    tried = sum(n for state, n in counts.items() if state != "not checked")
    killed = tried - len(survivors)
    print(
        f"{wanted.room}: {', '.join(f'{n} {state}' for state, n in counts.most_common())}; "
        f"{len(alone)} of the survivors noticed in a process of their own"
    )
    print(
        f"{killed} of {tried} mutants tried were noticed ({killed / max(tried, 1):.1%}); of those "
        f"that touch more than the words of a message, {killed} of {tried - words} "
        f"({killed / max(tried - words, 1):.1%})"
    )
    for name, text in differences.items():
        if not only_words(text):
            print(name)
    if wanted.show:
        wanted.show.write_text("\n".join(differences.values()), encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
