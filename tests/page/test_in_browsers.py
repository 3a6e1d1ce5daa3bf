"""The page in real browsers, over the virtual board and the installed command."""

import contextlib
import json
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


@contextlib.contextmanager
def swept(job: Job) -> Iterator[tuple[str, "subprocess.Popen[str]"]]:
    """A sweep of the virtual board with a page; its address, and the sweep."""
    board = [COMMAND, "simulate", "--no-iron", "--tcp", "127.0.0.1:0", "--do", "sweep,sweep"]
    with subprocess.Popen(
        board, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True
    ) as boards:
        assert boards.stdout is not None
        port = boards.stdout.readline().strip()
        sweep = [COMMAND, "sweep", job.folder, "eave", "--port", port, "--page"]
        with subprocess.Popen(sweep, stderr=subprocess.PIPE, text=True, stdin=subprocess.DEVNULL,
                              stdout=subprocess.DEVNULL) as sweeping:  # fmt: skip
            assert sweeping.stderr is not None
            try:
                found = None
                while found is None:
                    line = sweeping.stderr.readline()
                    assert line, "the sweep ended"
                    found = re.match(r"page: (\S+)", line)
                rest = threading.Thread(target=sweeping.stderr.read)
                rest.start()
                yield found[1], sweeping
                rest.join(60)
            finally:
                sweeping.kill()
                boards.terminate()


def test_a_whole_sweep_is_done_by_the_page_alone(opened: Open, job: Job, tmp_path: Path) -> None:
    picture = tmp_path / "north.jpg"
    picture.write_bytes(b"\xff\xd8\xff\xe0 a made-up photo")
    with swept(job) as (url, sweeping):
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
        page.get_by_role("button", name="End", exact=False).first.click()
        page.get_by_role("button", name="End", exact=True).click()
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


def test_a_page_that_was_cut_off_says_so_and_comes_back(served: Served, opened: Open) -> None:
    page = opened(served.page.url)
    page.get_by_text(STATE.to_do).wait_for()
    port, token, job = served.page.port, served.page.token, served.page._job
    served.page.close()
    page.get_by_text("No connection: the recording goes on").wait_for(timeout=LONG_MS)
    assert page.get_by_role("button", name="Press", exact=True).is_disabled()
    again = type(served.page)(job, ("127.0.0.1", port))
    again.token = token
    again.serve()
    with again.beside(served.page._display):
        again.show(STATE)
        page.get_by_text(STATE.to_do).wait_for(timeout=LONG_MS)
        page.get_by_role("button", name="Press", exact=True).click()
        page.get_by_text("no connection").wait_for(state="hidden")
    again.close()


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
