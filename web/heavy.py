"""Work that would make every thread stand still, done by another process: report, export, replay."""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from functools import lru_cache
from pathlib import Path

from web.problems import Problem

TIME_LIMIT_S = 180.0
WAIT_S = 20.0
WAITING = 3
"""Whoever waits holds one of the server's threads: more of them, and the live page would wait too."""


class Heavy:
    """Runs the command-line program on the same data folder, one piece of work at a time (a Pi has few cores)."""

    def __init__(self, data_dir: Path, python: str = sys.executable):
        self._data_dir, self._python, self._turn = data_dir, python, threading.Lock()
        self._queue = threading.Semaphore(1 + WAITING)
        self._moments = lru_cache(maxsize=4)(self._fresh_moments)

    def report(self, session_id: str, form: str, units: str) -> bytes:
        """The session's report. form: "pdf" or "html"; units: "metric" or "us"."""
        return self._made("report", session_id, f"report.{form}", "--units", units)

    def recording(self, session_id: str) -> bytes:
        """The session as a zipped recording."""
        return self._made("export", session_id, "recording.zip", "--format", "recording")

    def moments(self, store: Path, session_id: str, points: int, last_s: float) -> bytes:
        """The session as the live page would have shown it, JSON; kept for those asked for last, up to `last_s`."""
        return self._moments(store, session_id, points, last_s)

    def findings(self, recording: Path) -> dict:
        """What a recording comes to. Raises Problem 422 with the line that says what is wrong with it."""
        return json.loads(self._run("logger.cli", "replay", str(recording), "--json", hide=str(recording)))

    def _fresh_moments(self, store: Path, session_id: str, points: int, last_s: float) -> bytes:
        return self._run("web.moments", str(store), session_id, str(points)).encode()

    def _made(self, command: str, session_id: str, name: str, *options: str) -> bytes:
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / name
            self._command(command, *options, "-o", str(path), session_id)
            return path.read_bytes()

    def _command(self, name: str, *arguments: str) -> str:
        """The last argument is a session's id, which an uploaded recording chooses: it may look like an option."""
        *options, session_id = arguments
        return self._run("logger.cli", name, *options, "--data", str(self._data_dir), "--", session_id)

    def _run(self, module: str, *arguments: str, hide: str = "") -> str:
        command = [self._python, "-m", module, *arguments]
        with self._in_turn():
            try:
                ended = subprocess.run(command, capture_output=True, text=True, timeout=TIME_LIMIT_S, check=False)
            except subprocess.TimeoutExpired:
                raise Problem(503, "Took too long", f"this did not end within {TIME_LIMIT_S:.0f} s") from None
        if ended.returncode != 0:
            said = (ended.stderr.strip().splitlines() or ["it failed"])[-1]
            raise Problem(422, "Cannot be done", said.replace(hide, "the upload") if hide else said)
        return ended.stdout.strip()

    @contextmanager
    def _in_turn(self) -> Iterator[None]:
        """One after the other; raises Problem 503 where the wait would be long."""
        busy = Problem(503, "Busy", "another file is being made; try again soon", {"Retry-After": "10"})
        if not self._queue.acquire(blocking=False):
            raise busy
        try:
            if not self._turn.acquire(timeout=WAIT_S):
                raise busy
            try:
                yield
            finally:
                self._turn.release()
        finally:
            self._queue.release()
