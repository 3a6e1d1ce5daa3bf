"""The page in real browsers, over the virtual board and the installed command."""

import contextlib
import json
import os
import re
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from logger.job import Job
from logger.live.state import Caution
from logger.recording import read_recording

from .conftest import STATE, Served

COMMAND = str(Path(sys.executable).with_name("horizon-logger"))
Open = Callable[..., Any]
LONG_MS = 60_000


@pytest.fixture
def commanded(board: Any) -> Any:
    """Run a command over a virtual board, with a page; its address and the process.

    On a terminal of its own at which nobody types, or without one.
    """

    @contextlib.contextmanager
    def begin(tasks: str, *command: str, terminal: bool) -> Iterator[Any]:
        ours, theirs = os.openpty() if terminal else (-1, subprocess.DEVNULL)
        with (
            board("--no-iron", "--tcp", "127.0.0.1:0", "--do", *tasks.split()) as port,
            subprocess.Popen(
                [COMMAND, *command, "--port", port, "--page"],
                stdin=theirs, stdout=subprocess.DEVNULL, start_new_session=True,
                stderr=theirs if terminal else subprocess.PIPE,
            ) as process,
        ):  # fmt: skip
            told = ours if terminal else process.stderr.fileno()
            try:
                text, found = b"", None
                while found is None:
                    text += os.read(told, 4096)
                    found = re.search(rb"page: (\S+)\r?\n", text)
                threading.Thread(target=drained, args=(told,), daemon=True).start()
                yield found[1].decode(), process
            finally:
                process.kill()

    return begin


def drained(descriptor: int) -> None:
    """Read to the end, so that whoever writes never waits."""
    with contextlib.suppress(OSError):
        while os.read(descriptor, 65536):
            pass


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no pty")
def test_a_whole_day_is_done_by_the_page_alone(opened: Open, job: Job, commanded: Any) -> None:
    """Calibrations, two points and a name; not a key is typed at the terminal."""
    tasks = "compass,level,bearing,sweep,sweep --speed 4 --once --hand calm --sector 100,220"
    sweep = ("sweep", str(job.folder), "eave", "gable")
    with commanded(tasks, *sweep, terminal=True) as (url, day):
        page = opened(url)

        def tap(name: str) -> None:
            page.get_by_role("button", name=name, exact=True).click(timeout=LONG_MS)

        page.get_by_text("headings are wrong by tens of degrees. Calibrate it?").wait_for()
        tap("Yes")
        page.get_by_text("Level: how far the sight points").wait_for()
        tap("Yes")
        page.get_by_label("degrees").fill("here")
        tap("Sight this target")
        page.get_by_text("type sun, a number of degrees (0 to 360), or none").wait_for()
        page.get_by_label("degrees").fill("63")
        tap("Sight this target")
        for step in ("Next: compass", "Next: level", "Next: bearing of a target"):
            page.get_by_text(step).wait_for(timeout=LONG_MS)
            page.get_by_text("Never look at the sun").wait_for()
            tap("Go on")
        page.get_by_text("Stand on the spot, feet still").wait_for(timeout=LONG_MS)
        page.get_by_text(re.compile("bearing: all . checks passed")).wait_for()
        page.get_by_text("Trace the upper edge").wait_for()
        tap("Go on")
        for point in ("eave", "gable"):
            page.locator("#first", has_text=f"the trigger opens {point}").wait_for(timeout=LONG_MS)
            tap("Open")
            page.get_by_text(f"barn · {point}").wait_for()
        page.get_by_text("Name of eave, ").wait_for(timeout=LONG_MS)
        page.get_by_label("name").fill("lime <b>trees</b>")
        page.locator("#question").get_by_label("Kind").select_option("deciduous")
        tap("OK")
        tap("No more names")
        page.get_by_text("The program on the computer has ended").wait_for(timeout=LONG_MS)
        assert page.get_by_text(re.compile("^Over the year (eave|gable) ")).count() == 2
        assert day.wait(60) == 4  # part of the sky
    assert "lime <b>trees</b>" in (job.folder / "job.toml").read_text()
    quality = json.loads((job.folder / "results" / "gable.json").read_text())["quality"]
    checks = {check["check"]: check["passed"] for check in quality}
    for name in ("compass calibration", "level calibration", "bearing calibration"):
        assert checks[name], name


def test_a_whole_sweep_is_done_by_the_page_alone(
    opened: Open, job: Job, commanded: Any, tmp_path: Path
) -> None:
    picture = tmp_path / "north.jpg"
    picture.write_bytes(b"\xff\xd8\xff\xe0 a made-up photo")
    sweep = ("sweep", str(job.folder), "eave")
    with commanded("sweep,sweep", *sweep, terminal=False) as (url, sweeping):
        page = opened(url)
        page.get_by_text(re.compile("^(follow|turn|LOOK)")).first.wait_for(timeout=LONG_MS)
        page.get_by_role("button", name="Press", exact=True).click()
        page.get_by_text("in the recording: press").wait_for()
        page.get_by_role("button", name="Name").click()
        page.get_by_label("Text").fill("lime <b>tree</b>")
        page.get_by_label("Kind").select_option("deciduous")
        page.get_by_role("button", name="OK").click()
        page.get_by_text("in the recording: name lime <b>tree</b>").wait_for()
        page.get_by_role("button", name="Note").click()
        page.get_by_label("Text").fill("gate open")
        page.get_by_role("button", name="OK").click()
        page.get_by_text("in the recording: note gate open").wait_for()
        page.set_input_files("#file", picture)
        page.get_by_text("in the recording: note photo").wait_for()
        page.get_by_role("button", name="Redo").click()
        page.get_by_text("sweep that part again").wait_for()
        page.get_by_role("button", name="Pause").click()
        page.get_by_role("button", name="Go on").click(timeout=LONG_MS)
        page.get_by_role("button", name="Pause").wait_for(timeout=LONG_MS)
        over = page.get_by_text(re.compile("^(Nothing is recorded|The program on the computer)"))
        while not over.count():  # what a hand cannot do so soon after the rest is refused
            page.get_by_role("button", name="End", exact=False).first.click()
            page.get_by_role("button", name="End", exact=True).click()
            page.locator("#message", has_text="refused").or_(over).first.wait_for(timeout=LONG_MS)
        assert sweeping.wait(LONG_MS / 1000) in (0, 4)
    first, second = sorted((job.folder / "sweeps" / "eave").iterdir())
    assert read_recording(first).sealed
    assert read_recording(second).sealed
    notes = [note for _, note in read_recording(first).notes]
    assert sum(note.get("key") == "mark" for note in notes) == 2
    assert any(note.get("label") == "lime <b>tree</b>" for note in notes)
    assert any(note.get("text") == "gate open" for note in notes)
    (photo,) = (job.folder / "photos" / "eave").iterdir()
    assert photo.read_bytes() == picture.read_bytes()
    assert "swept again at once" in (job.folder / "job.toml").read_text()


def test_nothing_in_a_name_runs(served: Served, opened: Open) -> None:
    evil = "<img src=x onerror=document.body.innerHTML='run'><script>document.title='run'</script>"
    served.page.show(
        replace(STATE, title=evil, to_do=evil, message=evil, board=evil, facts=(evil,))
    )
    page = opened(served.page.url)
    page.get_by_text(evil).first.wait_for()
    for where in ("#title", "#first", "#message", "#board", "#facts li:first-child"):
        assert page.inner_text(where) == evil
    assert page.title() == "Horizon logger"
    assert page.locator("img").count() == page.locator("main script").count() == 0


def test_a_caution_goes_before_what_is_to_be_done(served: Served, opened: Open) -> None:
    page = opened(served.page.url)
    page.get_by_text(STATE.to_do).wait_for()
    served.page.show(replace(STATE, warnings=(Caution("sun", "LOOK AWAY: the sun is 9° off"),)))
    page.get_by_text("LOOK AWAY: the sun is 9° off").wait_for()
    assert page.get_by_text(STATE.to_do).count() == 0


def test_ten_pages_show_the_same_moment(served: Served, opened: Open) -> None:
    pages = [opened(served.page.url) for _ in range(10)]
    served.page.show(replace(STATE, to_do="turn 40° left to 120°"))
    for page in pages:
        page.get_by_text("turn 40° left to 120°").wait_for(timeout=LONG_MS)


@pytest.mark.parametrize("size", [(320, 640), (640, 320), (1400, 900)], ids=str)
@pytest.mark.parametrize("forced", [None, "active"], ids=["colours", "forced colours"])
def test_the_page_fits_and_is_accessible(
    served: Served, opened: Open, size: tuple[int, int], forced: str | None
) -> None:
    axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="axe is missing")
    page = opened(served.page.url, forced_colors=forced, bypass_csp=True)
    page.set_viewport_size({"width": size[0], "height": size[1]})
    page.get_by_text(STATE.to_do).wait_for()
    assert page.evaluate("document.documentElement.scrollWidth") <= size[0]
    found = axe.Axe().run(page).response["violations"]
    assert [one["id"] for one in found if one["impact"] in ("serious", "critical")] == []
    assert json.dumps(found)


def test_a_page_that_nobody_sees_is_sent_nothing(served: Served, opened: Open) -> None:
    page = opened(served.page.url)
    page.get_by_text(STATE.to_do).wait_for()
    assert served.page.pages == 1
    page.evaluate(
        "() => { Object.defineProperty(document, 'hidden', {value: true});"
        " document.dispatchEvent(new Event('visibilitychange')); }"
    )
    page.wait_for_function("() => true")
    ended = threading.Event()
    for _ in range(200):
        served.page.show(STATE)
        if served.page.pages == 0:
            break
        ended.wait(0.02)
    assert served.page.pages == 0
