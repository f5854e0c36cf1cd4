"""A cart whose store holds 5,000 sessions, with a report being made and a recording being imported all the time, and 50
viewers: what that costs the readings and the alerts beside a cart that has nothing else to do.

tests/bench/run busy [SECONDS]
"""

from __future__ import annotations

import contextlib
import io
import json
import sys
import tempfile
import threading
import urllib.request
import zipfile
from collections.abc import Iterator
from pathlib import Path

import numpy as np
from bench_load import VIEWERS, line, measure
from bench_review import SESSIONS, fill

from logger.daemon import Daemon
from logger.measure.marks import Mark
from logger.paths import store_path
from logger.record.importing import add_recording
from logger.record.recording import Recording, write_recording
from logger.record.rows import Rows
from logger.record.store import Store

REPORTED = "reported"
IMPORTED_S, RATE_HZ = 3600.0, 80.0
CHANNELS = {"scale": {"unit": "g", "rate_hz": RATE_HZ}}
PLACARD = {"low_g": 480, "high_g": 520}
KIND = {"format": "tarebook-recording", "version": 1, "started_utc": "2026-05-04T09:30:00Z"}
SESSION = {**KIND, "cart_id": "elsewhere", "refrigerant": "R-134a", "placard": PLACARD, "channels": CHANNELS}


@contextlib.contextmanager
def until_the_end(end: threading.Event) -> Iterator[None]:
    """The cart ends before the last is done."""
    try:
        yield
    except OSError:
        if not end.is_set():
            raise


class Work:
    """Reports and imports, one after the other; how many were done."""

    def __init__(self):
        self.reports = self.imports = 0
        rows = int(IMPORTED_S * RATE_HZ)
        t_s = np.round(np.arange(rows) / RATE_HZ + 0.001, 6)
        value = np.round(5000.0 - 0.1 * t_s + np.random.default_rng(1).normal(0, 0.5, rows), 2)
        marks = [Mark(60.0, "stage", {"stage": "charging"})]
        session = {"session_id": REPORTED, **SESSION}
        self._recording = Recording(session, Rows(t_s, np.zeros(rows, np.uint8), value), marks)
        with tempfile.TemporaryDirectory() as folder:
            write_recording(self._recording, Path(folder) / "whole.zip")
            with zipfile.ZipFile(Path(folder) / "whole.zip") as whole:
                self._files = {name: whole.read(name) for name in whole.namelist()}

    def prepare(self, data: Path) -> None:
        """5,000 sessions, and one with readings to report on."""
        data.mkdir(parents=True)
        fill(store_path(data))
        store = Store.open(store_path(data))
        add_recording(store, self._recording)
        store.close()

    def report(self, daemon: Daemon, end: threading.Event) -> None:
        with until_the_end(end):
            while not end.is_set():
                with urllib.request.urlopen(daemon.url + f"api/sessions/{REPORTED}/report.pdf", timeout=200) as answer:
                    answer.read()
                self.reports += 1

    def take_in(self, daemon: Daemon, end: threading.Event) -> None:
        token = daemon.port.pairing.exchange(daemon.port.pairing.code())
        headers = {"Authorization": f"Bearer {token}", "Content-Type": "application/zip"}
        with until_the_end(end):
            while not end.is_set():
                body = self._zipped(f"in-{self.imports}")
                asked = urllib.request.Request(daemon.url + "api/recordings", body, headers)
                with urllib.request.urlopen(asked, timeout=200) as answer:
                    answer.read()
                self.imports += 1

    def _zipped(self, session_id: str) -> bytes:
        session = json.loads(self._files["session.json"]) | {"session_id": session_id}
        made = io.BytesIO()
        with zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as archive:
            for name, content in (self._files | {"session.json": json.dumps(session).encode()}).items():
                archive.writestr(name, content)
        return made.getvalue()


def report(seconds: float = 20.0) -> list[str]:
    """Each figure alone and busy, and their ratio."""
    work = Work()
    alone, busy = measure(0, seconds), measure(VIEWERS, seconds, work.prepare, (work.report, work.take_in))
    return [
        line("readings late, 99th percentile", alone[0], busy[0], "busy"),
        line("silence to danger on the feed, worst", alone[1], busy[1], "busy"),
        f"scale readings kept of those due: {alone[2]:.4f} alone, {busy[2]:.4f} busy",
        f"beside {SESSIONS} sessions {work.reports} reports were made, {work.imports} recordings of an hour taken in",
    ]


if __name__ == "__main__":
    print("\n".join(report(float(sys.argv[1]) if len(sys.argv) > 1 else 20.0)))
