"""A fill on an emulated board through `tarebook run` in a process of its own, on a host that can be made ill; a phone
watches, a technician closes his valve at the stop."""

from __future__ import annotations

import contextlib
import json
import re
import signal
import socket
import sys
import threading
import time
import urllib.request
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from bench_cart import BenchCart, LoggerProcess, until
from brokers import free_port
from host_ills import HostIlls

from logger.measure.marks import Mark
from logger.paths import store_path
from logger.record.reader import StoreReader

SPEED = 2.0
FLOW_G_PER_S = 8.0
TARGET_G = 150.0
SETUP = {
    "refrigerant": "R-134a",
    "placard": {"low_g": 135.0, "high_g": 165.0},
    "target_g": TARGET_G,
    "close_lag_s": 1.0,
}
LAG_S = 1.0
STOP_BEEP_MS = 900
SESSION = "bench-00001"
CHILD = Path(__file__).with_name("ill_logger.py")


class IllLogger(LoggerProcess):
    """`tarebook run` on an ill host, its clock so many times as fast."""

    def __init__(self, ills: HostIlls, *arguments: object):
        self._begin([sys.executable, str(CHILD), *map(str, arguments)], env=ills.environment)


@dataclass
class Heard:
    """One event of the feed, as a phone got it: real monotonic seconds, grams drawn by then."""

    at_s: float
    drawn_g: float
    kind: str
    data: dict


@dataclass
class Phone:
    """Follows the feed, finds it again by itself; `asked` are (when, how long it waited, whether answered) of a page
    asked for all the time."""

    cart: BenchCart
    url: str
    heard: list[Heard] = field(default_factory=list)
    asked: list[tuple[float, float, bool]] = field(default_factory=list)
    _end: threading.Event = field(default_factory=threading.Event)
    _threads: list[threading.Thread] = field(default_factory=list)

    def start(self) -> None:
        self._threads = [threading.Thread(target=work, daemon=True) for work in (self._follow, self._ask)]
        for thread in self._threads:
            thread.start()

    def stop(self) -> None:
        self._end.set()
        for thread in self._threads:
            thread.join(10)

    def alerts(self, state: str = "raised") -> list[Heard]:
        return [each for each in self.heard if each.kind == "alert" and each.data["state"] == state]

    def _follow(self) -> None:
        last_id = ""
        while not self._end.is_set():
            try:
                request = urllib.request.Request(self.url + "api/feed", headers={"Last-Event-ID": last_id})
                with urllib.request.urlopen(request, timeout=5) as stream:
                    kind = ""
                    while not self._end.is_set() and (line := stream.readline()):
                        name, _, text = line.decode().rstrip("\n").partition(": ")
                        if name == "id":
                            last_id = text
                        elif name == "event":
                            kind = text
                        elif name == "data":
                            self.heard.append(Heard(time.monotonic(), self.cart.drawn_g, kind, json.loads(text)))
            except (OSError, ValueError):
                self._end.wait(0.1)

    def _ask(self) -> None:
        while not self._end.wait(0.25):
            began = time.monotonic()
            try:
                with urllib.request.urlopen(self.url + "api/now", timeout=5) as answer:
                    answered = answer.status == 200
                    answer.read()
            except OSError:
                answered = False
            self.asked.append((began, time.monotonic() - began, answered))


class IllFill:
    """Set up with `begin`; then `draw_to` grams, do harm, and `finish`."""

    def __init__(self, folder: Path, mqtt_port: int | None = None, bare_board: bool = False):
        folder.mkdir(parents=True, exist_ok=True)
        self.time_known = folder / "time-known"
        self._clock_mark = [self.time_known] if bare_board else []
        self.data = folder / "data"
        self.ills = HostIlls(folder, self.data)
        self.bench = BenchCart(folder / "cart", SPEED)
        self._cart_file = self.bench.file(mqtt_port)
        self._setup_file = folder / "session.json"
        self._setup_file.write_text(json.dumps(SETUP))
        self.port = free_port()
        self.url = f"http://127.0.0.1:{self.port}/"
        self.phone = Phone(self.bench, self.url)
        self.stop_g: float | None = None
        self.began_utc = 0.0
        self.acknowledged = self.lost_on_the_wire = 0
        self.outages: list[tuple[float, float]] = []
        self.held: list[socket.socket] = []
        self.loggers: list[IllLogger] = []
        self._closing = threading.Thread(target=self._close_at_stop, daemon=True)

    @property
    def logger(self) -> IllLogger:
        return self.loggers[-1]

    def start_logger(self) -> None:
        where = self._cart_file, self.data, self.port, self._setup_file, SPEED
        self.loggers.append(IllLogger(self.ills, *where, *self._clock_mark))

    def kill(self) -> None:
        """The power of the program goes: what it had said to be on disk is remembered."""
        self.acknowledged += self.counted("recorder", "readings")
        self.logger.end(signal.SIGKILL)
        gone_g, gone_s = self.bench.drawn_g, time.monotonic()
        self.start_logger()
        until(lambda: self.phone.heard[-1].at_s > gone_s, 60)
        self.outages.append((gone_g, self.bench.drawn_g))

    def counted(self, part: str, event: str) -> int:
        """What the logger says it has counted, such as readings on disk; 0 when it cannot be asked."""
        try:
            with urllib.request.urlopen(self.url + "metrics", timeout=5) as answer:
                found = re.search(rf'{{part="{part}",event="{event}"}} (\d+)', answer.read().decode())
        except OSError:
            return 0
        return int(found[1]) if found else 0

    def crowd(self, count: int, says: bytes) -> None:
        """So many phones that connect, say this, and never read."""
        for _ in range(count):
            phone = socket.socket()
            phone.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 2048)
            phone.settimeout(2)
            self.held.append(phone)
            with contextlib.suppress(OSError):
                phone.connect(("127.0.0.1", self.port))
                phone.sendall(says)

    def begin(self) -> None:
        """The logger runs, the container rests, then the valve is opened."""
        self.start_logger()
        self.logger.wait_for("Page")
        self.phone.start()
        until(lambda: self.now().get("t_s", 0) > 5 and self.now()["channels"]["scale"]["quality"] == "good")
        self.began_utc = time.time() - self.now()["t_s"] / SPEED
        self._closing.start()
        self.bench.flow_g_per_s = FLOW_G_PER_S

    def now(self) -> dict:
        """The latest snapshot that the phone has."""
        return next((each.data for each in reversed(self.phone.heard) if each.kind == "now"), {})

    def draw_to(self, grams: float) -> None:
        until(lambda: self.bench.drawn_g >= grams, 60)

    def told(self, code: str, subject: str = "", since_s: float = 0.0) -> Heard | None:
        """The alert, as the phone was told it."""
        alerts = [each for each in self.phone.alerts() if each.at_s >= since_s]
        return next((e for e in alerts if (e.data["code"], e.data["subject"]) == (code, subject)), None)

    def _close_at_stop(self) -> None:
        """At the buzzer's or the phone's stop, whichever comes first, after the lag that the fill reckons with; or when
        nothing is said until far too late."""
        while self.stop_g is None and self.bench.drawn_g < 2 * TARGET_G:
            if any(ms == STOP_BEEP_MS for _, ms in self.bench.board.beeps) or self.told("stop-charging"):
                self.stop_g = self.bench.drawn_g
            time.sleep(0.01)
        time.sleep(LAG_S / SPEED)
        self.bench.flow_g_per_s = 0.0

    def finish(self) -> None:
        """The stop has come; readings go on for a while, and the logger ends in order."""
        until(lambda: self.bench.flow_g_per_s == 0.0, 60)
        rests_s = self.now()["t_s"]
        until(lambda: self.now()["t_s"] > rests_s + 3 and self.now()["channels"]["scale"]["quality"] == "good")

    def end(self) -> int:
        """The logger's exit status after SIGTERM."""
        self.phone.stop()
        self.lost_on_the_wire = self.counted("board", "lost")
        return self.logger.end(signal.SIGTERM)

    def close(self) -> None:
        self.phone.stop()
        self.bench.flow_g_per_s = 0.0
        for each in (*self.held, *self.loggers):
            each.close()
        self.bench.stop()

    @property
    def reader(self) -> StoreReader:
        return StoreReader(store_path(self.data))

    def scale(self) -> tuple[np.ndarray, np.ndarray]:
        """(times s, values g) of the scale as the record has them."""
        items = [item for item in self.reader.batches(SESSION) if not isinstance(item, Mark)]
        blocks = [b for item in items for b in item if b.channel == "scale"]
        return np.concatenate([b.t_s for b in blocks]), np.concatenate([b.value for b in blocks])
