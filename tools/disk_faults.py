#!/usr/bin/env python
"""Lock, fill and take away the disk under a sweep; what is on it must stay valid, and be told.

    sudo python tools/disk_faults.py

Mounts a small tmpfs (hence root, and Linux), records a virtual board on it with the `sweep`
command, and breaks the disk in mid-sweep. For each way it prints how long the operator waited for
the news, the sentence, the exit code, and what can still be read.
"""

from __future__ import annotations

import contextlib
import shutil
import socket
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from pathlib import Path

from logger.recording import read_recording
from logger.simulation import BoardSettings, simulate_sweep
from logger.simulation.scenes import scene_named

SETTLED_BYTES = 20_000
LOCKED = "read-only"  # before the first byte: a system grants it only while nobody writes


def run(*command: str) -> None:
    subprocess.run(command, check=True, capture_output=True)


class Disk:
    """A tmpfs of 300 KB."""

    def __init__(self) -> None:
        self.folder = Path(tempfile.mkdtemp(prefix="small-disk-"))
        run("mount", "-t", "tmpfs", "-o", "size=300k", "tmpfs", str(self.folder))
        self.held = subprocess.Popen(["sleep", "600"], cwd=self.folder)

    def fill(self) -> None:
        """Another program takes all the room there is."""
        with open(self.folder / "ballast", "wb", buffering=0) as ballast:
            try:
                while True:
                    ballast.write(b"\0" * 4096)
            except OSError:
                pass

    def lock(self) -> None:
        """A card with its lock on."""
        run("mount", "-o", "remount,ro,size=300k", str(self.folder))

    def vanish(self) -> None:
        """The card is pulled: the name leads nowhere any more."""
        run("umount", "--lazy", str(self.folder))

    def close(self) -> None:
        self.held.terminate()
        self.held.wait()
        subprocess.run(["umount", "--lazy", str(self.folder)], capture_output=True, check=False)
        shutil.rmtree(self.folder, ignore_errors=True)


def serve(listener: socket.socket, chunks: list[tuple[float, bytes]]) -> None:
    """Be the board, until the recorder goes."""
    with contextlib.suppress(OSError):
        host, _ = listener.accept()
        began = time.monotonic()
        for t, text in chunks:
            time.sleep(max(began + t - time.monotonic(), 0))
            host.sendall(text)
        host.close()


def settled(job: Path) -> Path:
    """The recording, once something stands in it."""
    while True:
        for path in job.rglob("*.sweep"):
            if path.stat().st_size >= SETTLED_BYTES:
                return path
        time.sleep(0.05)


def break_it(what: str, how: Callable[[Disk], None], chunks: list[tuple[float, bytes]]) -> bool:
    """Sweep onto a disk that fails, before the first byte or in mid-sweep; whether it is well."""
    disk, copy = Disk(), Path(tempfile.mkdtemp(prefix="copy-"))
    job, left = disk.folder / "job", copy / "before.sweep"
    program = [sys.executable, "-c", "from logger.cli import main; main()"]
    try:
        run(*program, "new", str(job), "--latitude", "46.05", "--longitude", "14.51")
        if what == LOCKED:
            how(disk)
        with socket.create_server(("127.0.0.1", 0)) as listener:
            threading.Thread(target=serve, args=(listener, chunks), daemon=True).start()
            url = f"socket://127.0.0.1:{listener.getsockname()[1]}"
            sweep = subprocess.Popen(
                [*program, "sweep", str(job), "spot", "--port", url],
                stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
            )  # fmt: skip
            if what != LOCKED:
                path = settled(job)
                shutil.copy(path, left)  # all there is to read where the disk is gone
                how(disk)
            broken = time.monotonic()
            try:
                _, said = sweep.communicate(timeout=20)
            except subprocess.TimeoutExpired:
                sweep.kill()
                print(f"{what}: nothing was said within 20 s")
                return False
            waited = time.monotonic() - broken
        sentence = next((line for line in said.splitlines() if line.startswith("error")), said)
        print(f"{what}: after {waited:.1f} s, exit {sweep.returncode}: {sentence}")
        good = sweep.returncode == 3 and "Traceback" not in said
        if what == LOCKED:
            return good
        read = read_recording(path if path.exists() else left)
        print(f"    {len(read.sentences)} sentences can be read; {'; '.join(read.problems)}")
        return good and len(read.sentences) > 0
    finally:
        disk.close()
        shutil.rmtree(copy, ignore_errors=True)


def main() -> int:
    link = BoardSettings(link_baud=None)
    sweep = simulate_sweep(scene_named("street", 1), seed=1, rate_hz=100, settings=link)
    chunks = list(sweep.chunks)
    ways = {LOCKED: Disk.lock, "full": Disk.fill, "gone": Disk.vanish}
    passed = [break_it(what, how, chunks) for what, how in ways.items()]
    print(f"{sum(passed)} of {len(passed)} ways told at once, with exit 3, and valid to the end")
    return 0 if all(passed) else 1


if __name__ == "__main__":
    sys.exit(main())
