"""A clock and a link made up by the test: no test here waits for anything."""

import datetime as dt

import pytest

from firmware_protocol import Attitude, encode
from logger.errors import DeviceError
from logger.recording import Capture, RecordingWriter

START = dt.datetime(2026, 5, 14, 8, 12, 31, 250000, dt.UTC)
HEADER = {"started": "2026-05-14T08:12:31.250Z", "point": "north eave", "mood": "kept"}


class FakeClock:
    """Time passes only where a test or a link lets it."""

    def __init__(self):
        self.now_s = 1000.0
        self.wall_error_s = 0.0

    def seconds(self):
        return self.now_s

    def utc(self):
        return START + dt.timedelta(seconds=self.now_s - 1000.0 + self.wall_error_s)

    def sleep(self, seconds):
        self.now_s += seconds


class FakeLink:
    """Plays (seconds, bytes) and ends with the given exception, or with silence."""

    def __init__(self, clock, chunks, end=None):
        self.clock, self.chunks, self.end = clock, list(chunks), end
        self.sent, self.closed, self.url = [], False, "made-up port"

    def start(self, record):
        self.record = record

    def read(self):
        return [self.record(self.come())]

    def stop(self):
        return []

    def come(self):
        if not self.chunks:
            if self.end is not None:
                raise self.end
            self.clock.now_s += 0.1
            return b""
        after_s, chunk = self.chunks.pop(0)
        self.clock.now_s += after_s
        return chunk

    def write(self, data):
        self.sent.append(data)

    def close(self):
        self.closed = True


def attitude(n, t_ms=None, heading_cdeg=None):
    heading = (18000 + 10 * n) % 36000 if heading_cdeg is None else heading_cdeg
    return Attitude(n % 65536, 20 * n if t_ms is None else t_ms, heading, -215, 1180, 1)


@pytest.fixture
def fifty_hertz():
    """Chunks of one attitude sentence, a fiftieth of a second apart."""

    def chunks(first, count):
        return [(0.02, encode(attitude(n))) for n in range(first, first + count)]

    return chunks


class Bench:
    """A capture with its clock, its links in order, its file and what it said."""

    def __init__(self, folder, *links, settings=None):
        self.clock = FakeClock()
        self.links = [FakeLink(self.clock, *link) for link in links]
        self.waiting = self.links[1:]
        self.said = []
        self.back_at_s = 0.0
        self.path = folder / "a.sweep"
        self.capture = Capture(
            self.links[0],
            self.reopen,
            RecordingWriter(self.path, HEADER, monotonic=self.clock.seconds),
            self.clock,
            settings,
            say=self.said.append,
        )

    def reopen(self):
        if not self.waiting or self.capture.elapsed_s() < self.back_at_s:
            raise DeviceError("no such port")
        return self.waiting.pop(0)

    def run(self, seconds=1e9, while_running=lambda bench: None):
        """Step until the time is over or the made-up board has no more to say."""
        end = self.clock.now_s + seconds
        while self.clock.now_s < end and (
            self.waiting or any(link.chunks for link in self.links if not link.closed)
        ):
            self.capture.step()
            while_running(self)
        return self

    def run_on(self, seconds):
        end = self.clock.now_s + seconds
        while self.clock.now_s < end:
            self.capture.step()

    def close(self):
        self.capture.close()
        return self.path


@pytest.fixture
def bench(tmp_path):
    benches = []

    def make(*links, settings=None):
        benches.append(Bench(tmp_path, *links, settings=settings))
        return benches[-1]

    yield make
    for one in benches:
        one.capture.writer.close(seal=False)
