"""The live view as a window: the sun's paths, and the skyline over them as it is swept.

The window is a process of its own that is told the moment line by line: drawing takes longer than
the port may wait, and a window that is closed or hangs must not touch a recording.
"""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
import threading
import time
from contextlib import AbstractContextManager, suppress
from types import TracebackType
from typing import IO, TYPE_CHECKING, Any

import numpy as np

from logger.errors import UsageError
from logger.geometry import angle_between
from logger.live.display import Display
from logger.live.guidance import advice, towards_sun
from logger.live.screen import Frame, access_words, window_words
from logger.live.session import LiveView
from logger.site import Site

if TYPE_CHECKING:
    from matplotlib.figure import Figure

EVERY_S = 0.15
"""From one picture to the next. [s]"""

_SUNLESS, _MISSING, _ONCE, _TWICE, _SUN = range(5)


def message_of(view: LiveView, frame: Frame) -> dict[str, Any]:
    """A moment as the window is told it; an unknown number is None."""
    words, warns = advice(view)
    told: dict[str, Any] = {
        "place": frame.place,
        "state": f"{frame.state} {view.elapsed_s:.0f} s",
        "azimuth_deg": _known(view.azimuth_deg),
        "elevation_deg": _known(view.elevation_deg),
        "advice": words,
        "warns": warns,
        "answer": "",
        "skyline": None,
        "seen": None,
    }
    if view.running is not None:
        horizon = view.running.horizon
        told["answer"] = f"access so far {access_words(view)} · {window_words(view.running.access)}"
        told["skyline"] = [_known(round(float(e), 2)) for e in horizon.elevation_deg]
        seen = np.where(
            horizon.coverage.sun_crossed, np.minimum(horizon.coverage.passes, 2) + _MISSING, 0
        )
        near = towards_sun(view)
        if near is not None:
            seen = np.where(near & (seen > _SUNLESS) & (seen < _TWICE), _SUN, seen)
        told["seen"] = seen.tolist()
    return told


def _known(value: float) -> float | None:
    return value if np.isfinite(value) else None


class SkylinePicture:
    """The figure in the window; `update` moves what changes and leaves the rest."""

    def __init__(self, figure: Figure, site: Site) -> None:
        from matplotlib.colors import ListedColormap
        from matplotlib.patches import Polygon

        from logger.horizon import HorizonProfile
        from logger.report import style
        from logger.report.sky_charts import draw_sun_paths
        from logger.sun_paths import sun_paths

        self._middle_deg = site.equatorward_azimuth_deg
        with style.house_style():
            axes = style.add_axes(figure, bottom_mm=25.0, top_mm=16.0)
            draw_sun_paths(axes, sun_paths(site), HorizonProfile.level())
            self._bottom = axes.get_ylim()[0]
            self.skyline = Polygon(
                [(0, self._bottom), (0, self._bottom)],
                closed=True,
                facecolor=style.SKYLINE,
                edgecolor=style.SKYLINE_DEEP,
                alpha=0.92,
                zorder=6,
            )
            axes.add_patch(self.skyline)
            (self.sight,) = axes.plot(
                [], [], marker="+", ms=16, mew=2.5, color=style.SUN_DEEP, zorder=9, clip_on=False
            )
            left, bottom, width, _ = axes.get_position().bounds
            strip = figure.add_axes((left, bottom * 0.38, width, bottom * 0.14))
            strip.set_axis_off()
            colours = [style.PAPER, style.SUN_FAINT, style.BAND, style.SKYLINE, style.SUN]
            self.strip = strip.imshow(
                np.zeros((1, 360)),
                aspect="auto",
                cmap=ListedColormap(colours),
                vmin=-0.5,
                vmax=4.5,
                interpolation="nearest",
            )
            key = "seen: pale missing · light once · dark twice · orange: the sun is there now"
            strip.text(0, -0.35, key, transform=strip.transAxes, va="top", color=style.QUIET)
            above: Any = {"transform": axes.transAxes, "clip_on": False, "va": "bottom"}
            self.place = axes.text(0, 1.085, "", fontsize=9, weight="bold", **above)
            self.state = axes.text(1, 1.085, "", ha="right", color=style.QUIET, **above)
            self.advice = axes.text(0, 1.012, "", fontsize=11, **above)
            self.answer = strip.text(
                1, -0.35, "", transform=strip.transAxes, va="top", ha="right", weight="bold"
            )
        self._plain, self._warning = style.INK, style.SUN_DEEP

    def update(self, told: dict[str, Any]) -> None:
        """Show a moment."""
        self.place.set_text(told["place"])
        self.state.set_text(told["state"])
        self.advice.set_text(told["advice"])
        self.advice.set_color(self._warning if told["warns"] else self._plain)
        self.advice.set_fontweight("bold" if told["warns"] else "normal")
        self.answer.set_text(told["answer"])
        here = told["azimuth_deg"], told["elevation_deg"]
        if None in here:
            self.sight.set_data([], [])
        else:
            self.sight.set_data([float(angle_between(here[0], self._middle_deg))], [here[1]])
        if told["skyline"] is not None:
            self.skyline.set_xy(self._outline(np.array(told["skyline"], dtype=float)))
            cells = np.array(told["seen"], dtype=float)
            self.strip.set_data(np.roll(cells, self._shift(cells.size))[None, :])

    def _shift(self, cells: int) -> int:
        """Cells to roll so that the first one stands at the left end of the axis."""
        return -round((self._middle_deg - 180.0) / 360.0 * cells)

    def _outline(self, elevation: Any) -> Any:
        """Steps over the cells that were seen, the bottom elsewhere."""
        n = elevation.size
        height = np.roll(elevation, self._shift(n))
        height = np.where(np.isfinite(height), np.maximum(height, self._bottom), self._bottom)
        edge = np.linspace(-180.0, 180.0, n + 1)
        x = np.repeat(edge, 2)
        y = np.concatenate([[self._bottom], np.repeat(height, 2), [self._bottom]])
        return np.column_stack([x, y])


class WindowDisplay(AbstractContextManager["WindowDisplay"]):
    """A display with a window beside it."""

    def __init__(self, inner: Display, site: Site) -> None:
        self._inner = inner
        self.every_s = inner.every_s if inner.every_s < EVERY_S else EVERY_S
        self._complaints = tempfile.TemporaryFile("w+", encoding="utf-8", errors="replace")  # noqa: SIM115
        self._process = subprocess.Popen(
            [sys.executable, "-m", "logger.live.window"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=self._complaints,
            encoding="utf-8",
        )
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._pipe: IO[str] = self._process.stdin
        where = {"latitude_deg": site.latitude_deg, "longitude_deg": site.longitude_deg}
        self._tell(json.dumps(where))
        if self._process.stdout.readline().strip() != "open":
            self._process.kill()
            self._process.wait()
            self._complaints.seek(0)
            why = (self._complaints.read().strip().splitlines() or ["there is no screen"])[-1]
            self._let_go()
            raise UsageError(
                f"no window can be opened here: {why}",
                hint="leave --window out: the terminal shows the same",
            )
        self._news = threading.Event()
        self._latest = ""
        self._closed = False
        self._shown_at = self._window_at = -1e9
        self._teller = threading.Thread(target=self._tell_on, name="window", daemon=True)
        self._teller.start()

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._closed = True
        self._news.set()
        self._teller.join(timeout=2)
        self._process.terminate()
        self._process.wait(timeout=10)
        self._let_go()

    def _let_go(self) -> None:
        with suppress(OSError):  # the window may be gone with a line still on its way
            self._pipe.close()
        if self._process.stdout is not None:
            self._process.stdout.close()
        self._complaints.close()

    def show(self, view: LiveView, frame: Frame) -> None:
        """See `Display.show`."""
        now = time.monotonic()
        if now - self._shown_at >= self._inner.every_s:
            self._shown_at = now
            self._inner.show(view, frame)
        if now - self._window_at >= EVERY_S:
            self._window_at = now
            self._latest = json.dumps(message_of(view, frame))
            self._news.set()

    def say(self, sentence: str) -> None:
        """See `Display.say`."""
        self._inner.say(sentence)

    def bell(self) -> None:
        """See `Display.bell`."""
        self._inner.bell()

    def _tell_on(self) -> None:
        while not self._closed:
            self._news.wait()
            self._news.clear()
            if not self._closed and not self._tell(self._latest):
                self._inner.say("the window was closed; the sweep goes on")
                return

    def _tell(self, line: str) -> bool:
        try:
            self._pipe.write(line + "\n")
            self._pipe.flush()
        except (OSError, ValueError):
            return False
        return True


def _window() -> None:
    """The window's own process: a site on the first line, a moment on each further one."""
    site = Site(**json.loads(sys.stdin.readline()))
    import matplotlib
    from matplotlib import pyplot

    try:
        figure = pyplot.figure("horizon logger", figsize=(11, 6.2))
    except Exception:  # each windowing system has errors of its own
        return
    if matplotlib.get_backend().lower() == "agg":
        return
    picture = SkylinePicture(figure, site)
    told: list[str] = []

    def listen() -> None:
        for line in sys.stdin:
            told[:] = [line]
        told[:] = [""]

    def show() -> None:
        if told:
            line = told.pop()
            if not line:
                pyplot.close(figure)
                return
            picture.update(json.loads(line))
            figure.canvas.draw_idle()

    timer = figure.canvas.new_timer(interval=50)
    timer.add_callback(show)
    timer.start()
    threading.Thread(target=listen, daemon=True).start()
    print("open", flush=True)
    pyplot.show()


if __name__ == "__main__":
    _window()
