"""The office's examples do what their pages show, and no page leads nowhere."""

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from filelock import FileLock

PAGES = ("question-a-result", "many-jobs", "weather-files", "what-if", "../terrain")
DOCS = Path(__file__).parents[2] / "docs"
DEMO = "horizon-logger demo --output demo"
TIMEOUT_S = 300


def examples(text):
    """Commands of a page's console blocks, each with the output shown."""
    for block in re.findall(r"^```console\n(.*?)^```$", text, flags=re.M | re.S):
        yield from re.findall(r"^\$ (.*)\n((?:(?!\$ ).*\n)*)", block, flags=re.M)


def pattern(shown):
    """A line of … stands for any lines, … within a line for any text."""
    parts = [
        r"(?:.*\n)*" if line == "…" else re.escape(line).replace("…", r".*") + r"[ ]*\n"
        for line in shown.splitlines()
    ]
    return re.compile("".join(parts))


def bash(command, folder):
    environment = {
        **os.environ,
        "PATH": f"{Path(sys.executable).parent}{os.pathsep}{os.environ['PATH']}",
        "COLUMNS": "200",
    }
    # Both streams together, as a reader sees them.
    return subprocess.run(
        [shutil.which("bash"), "-c", command],
        cwd=folder,
        env=environment,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        encoding="utf-8",
        timeout=TIMEOUT_S,
        check=False,
    )


@pytest.fixture(scope="module")
def demo(tmp_path_factory, worker_id):
    """The shipped survey worked out, as every page begins; once for all processes of the tests."""
    base = tmp_path_factory.getbasetemp()
    folder = (base if worker_id == "master" else base.parent) / "documented"
    with FileLock(f"{folder}.lock"):
        if not (folder / "demo").exists():
            folder.mkdir(exist_ok=True)
            done = bash(DEMO, folder)
            assert done.returncode == 0, done.stdout
    return folder / "demo"


@pytest.mark.skipif(shutil.which("bash") is None, reason="the examples are for a POSIX shell")
@pytest.mark.parametrize("page", PAGES)
def test_the_examples_of_a_page_do_what_it_shows(demo, tmp_path, page):
    found = list(examples((DOCS / "how-to" / f"{page}.md").read_text(encoding="utf-8")))
    assert len(found) >= 2
    for command, shown in found:
        if command == DEMO:
            shutil.copytree(demo, tmp_path / "demo")
            continue
        done = bash(command, tmp_path)
        wanted = 0
        if shown.startswith("error:"):
            wanted = 3 if "cannot be read" in shown else 2
        assert done.returncode == wanted, f"{command}\n{done.stdout}"
        assert pattern(shown).fullmatch(done.stdout), f"{command}\n{done.stdout}"


def test_an_output_that_differs_is_found_out():
    assert pattern("a\n…\nb … c\n").fullmatch("a\nx\ny\nb 5 c\n")
    assert pattern("a\n…\n").fullmatch("a\n")
    assert not pattern("a\n…\nb\n").fullmatch("a\nx\n")
    assert not pattern("a …\n").fullmatch("b 1\n")


def anchors(text):
    """What headings can be linked to by."""
    headings = re.findall(r"^#+ (.*)$", re.sub(r"^```.*?^```$", "", text, flags=re.M | re.S), re.M)
    return {re.sub(r"[^\w\- ]", "", h.lower()).replace(" ", "-") for h in headings}


def test_every_link_of_every_page_leads_somewhere():
    broken = []
    for page in sorted(DOCS.rglob("*.md")):
        text = page.read_text(encoding="utf-8")
        for target in re.findall(r"\]\(([^)\s]+)\)", text):
            if re.match(r"[a-z]+:", target):
                continue
            name, _, anchor = target.partition("#")
            file = (page.parent / name).resolve() if name else page
            found = file.exists()
            if found and anchor:
                found = anchor in anchors(file.read_text(encoding="utf-8"))
            if not found:
                broken.append(f"{page.relative_to(DOCS)}: {target}")
    assert not broken


def test_every_page_stands_in_the_index():
    index = (DOCS / "README.md").read_text(encoding="utf-8")
    pages = {p.relative_to(DOCS).as_posix() for p in DOCS.rglob("*.md")} - {"README.md"}
    assert {page for page in pages if f"({page}" not in index} == set()
