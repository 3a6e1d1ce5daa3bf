#!/usr/bin/env python
"""Lock, fill and take away the disk under a sweep; what is on it must stay valid, and be told.

    sudo python tools/disk_faults.py

Mounts a small tmpfs (hence root, and Linux), records a virtual board on it with the `sweep`
command, and breaks the disk in mid-sweep. For each way it prints how long the operator waited for
the news, the sentence, the exit code, and what can still be read.
"""

from __future__ import annotations

import shutil
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

PROGRAM = "from logger.cli import main; main()"
SETTLED_BYTES = 20_000


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
        """A card with its lock on; the system grants it only while no file is being written."""
        run("mount", "-o", "remount,ro,size=300k", str(self.folder))

    def vanish(self) -> None:
        """The card is pulled: the name leads nowhere any more."""
        run("umount", "--lazy", str(self.folder))

    def close(self) -> None:
        self.held.terminate()
        self.held.wait()
        subprocess.run(["umount", "--lazy", str(self.folder)], capture_output=True, check=False)
        shutil.rmtree(self.folder, ignore_errors=True)


def serve(listener: object, chunks: list[tuple[float, bytes]]) -> None:
    import socket

    assert isinstance(listener, socket.socket)
    host, _ = listener.accept()
    began = time.monotonic()
    try:
        for t, text in chunks:
            time.sleep(max(began + t - time.monotonic(), 0))
            host.sendall(text)
    except OSError:
        pass
    host.close()


def break_it(what: str, how: Callable[[Disk], None], chunks: list[tuple[float, bytes]]) -> bool:
    import socket

    disk = Disk()
    copy = Path(tempfile.mkdtemp(prefix="copy-"))
    try:
        job = disk.folder / "job"
        place = ["--latitude", "46.05", "--longitude", "14.51"]
        run(sys.executable, "-c", PROGRAM, "new", str(job), *place)
        with socket.create_server(("127.0.0.1", 0)) as listener:
            threading.Thread(target=serve, args=(listener, chunks), daemon=True).start()
            url = f"socket://127.0.0.1:{listener.getsockname()[1]}"
            sweep = subprocess.Popen(
                [sys.executable, "-c", PROGRAM, "sweep", str(job), "spot", "--port", url],
                stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
            )  # fmt: skip
            path = None
            while path is None or path.stat().st_size < SETTLED_BYTES:
                found = list((job / "sweeps" / "spot").glob("*.sweep"))
                path = found[0] if found else None
                time.sleep(0.05)
            if what == "gone":
                shutil.copy(path, copy / "before.sweep")
            how(disk)
            broken = time.monotonic()
            try:
                _, said = sweep.communicate(timeout=20)
            except subprocess.TimeoutExpired:
                sweep.kill()
                print(f"{what}: nothing was said within 20 s")
                return False
            waited = time.monotonic() - broken
        left = copy / "before.sweep" if what == "gone" else path
        read = read_recording(left)
        sentence = next((line for line in said.splitlines() if line.startswith("error")), said)
        print(f"{what}: after {waited:.1f} s, exit {sweep.returncode}: {sentence}")
        print(f"    {len(read.sentences)} sentences can be read; {'; '.join(read.problems)}")
        return sweep.returncode == 3 and "Traceback" not in said and len(read.sentences) > 0
    finally:
        disk.close()
        shutil.rmtree(copy, ignore_errors=True)


def start_locked() -> bool:
    """A sweep on a disk that is read-only from the start."""
    import socket

    disk = Disk()
    try:
        job = disk.folder / "job"
        place = ["--latitude", "46.05", "--longitude", "14.51"]
        run(sys.executable, "-c", PROGRAM, "new", str(job), *place)
        disk.lock()
        with socket.create_server(("127.0.0.1", 0)) as listener:
            url = f"socket://127.0.0.1:{listener.getsockname()[1]}"
            sweep = subprocess.run(
                [sys.executable, "-c", PROGRAM, "sweep", str(job), "spot", "--port", url],
                stdin=subprocess.DEVNULL, capture_output=True, text=True, timeout=60, check=False,
            )  # fmt: skip
    finally:
        disk.close()
    sentence = next((x for x in sweep.stderr.splitlines() if x.startswith("error")), sweep.stderr)
    print(f"read-only: before the first byte, exit {sweep.returncode}: {sentence}")
    return sweep.returncode == 3 and "Traceback" not in sweep.stderr


def main() -> int:
    link = BoardSettings(link_baud=None)
    sweep = simulate_sweep(scene_named("street", 1), seed=1, rate_hz=100, settings=link)
    chunks = list(sweep.chunks)
    ways = {"full": Disk.fill, "gone": Disk.vanish}
    passed = [start_locked(), *(break_it(what, how, chunks) for what, how in ways.items())]
    print(f"{sum(passed)} of {len(passed)} ways told at once, with exit 3, and valid to the end")
    return 0 if all(passed) else 1


if __name__ == "__main__":
    sys.exit(main())
