"""The simulator rig as an object, and a reader that keeps a board source going."""

from __future__ import annotations

import json
import queue
import subprocess
import threading
import time
from collections.abc import Callable
from pathlib import Path

SECONDS = 60
"""A rig ends by itself after so long, whatever becomes of the test."""


class Rig:
    """One simulated board; `port` is its serial port."""

    def __init__(self, program: Path, firmware: Path, folder: Path):
        self.port = str(folder / "board-port")
        self._command = [program, firmware, self.port, str(SECONDS), folder / "eeprom"]
        self._process: subprocess.Popen | None = None
        self._pins: queue.Queue[tuple[str, int, float]] = queue.Queue()
        self._stats: queue.Queue[dict] = queue.Queue()
        self._ready = threading.Event()

    def start(self) -> None:
        self._ready.clear()
        self._process = subprocess.Popen(self._command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
        threading.Thread(target=self._listen, args=(self._process,), daemon=True).start()
        assert self._ready.wait(10), "the rig does not start"

    def stop(self) -> None:
        """End it, as if the board were unplugged; harmless when it does not run."""
        if self._process is None:
            return
        self._process.stdin.close()
        self._process.wait(10)
        self._process = None

    def say(self, line: str) -> None:
        self._process.stdin.write(line + "\n")
        self._process.stdin.flush()

    def stat(self) -> dict:
        """The rig's counts (see rig.c)."""
        self.say("stat")
        return self._stats.get(timeout=10)

    def next_pin(self, timeout_s: float = 10) -> tuple[str, int, float]:
        """What happened next ("valve" or "buzzer" changed, a "blow" was dealt), the level, and the simulated second."""
        return self._pins.get(timeout=timeout_s)

    def _listen(self, process: subprocess.Popen) -> None:
        for line in process.stdout:
            what, _, rest = line.strip().partition(" ")
            if what == "ready":
                self._ready.set()
            elif what == "stat":
                self._stats.put(json.loads(rest))
            elif what in ("valve", "buzzer", "blow"):
                level, t_s = rest.split()
                self._pins.put((what, int(level), float(t_s)))


def wait_until(condition: Callable[[], bool], timeout_s: float = 15.0, what: str = "") -> None:
    """Look every 10 ms until the condition holds."""
    end = time.monotonic() + timeout_s
    while not condition():
        assert time.monotonic() < end, f"did not come within {timeout_s} s: {what}"
        time.sleep(0.01)
