"""A cart under load: a scale at 80 readings a second and eight slower channels, with and without 50 viewers over HTTP.

Run: tests/bench/run load [SECONDS]
"""

from __future__ import annotations

import sys
import tempfile
import threading
import time
import urllib.error
import urllib.request
from collections.abc import Callable
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "shell"))

from bench_cart import CODES_PER_G, GROSS_G, SETUP, BenchCart, until  # noqa: E402 - found by the line above

from logger.daemon import Daemon  # noqa: E402 - as above
from logger.measure.marks import Mark  # noqa: E402 - as above

VIEWERS = 50
RATES_HZ = {"w": 80.0, "lo": 10.0, "t1": 10.0, "hi": 10.0, "va": 10.0, "t2": 10.0, "t3": 10.0, "t4": 10.0, "t5": 10.0}
SILENT_TRIES = 5


def report(seconds: float = 15.0) -> list[str]:
    """Jitter of arrival, alert latency, and what is lost, without viewers and with them, and their ratios."""
    alone, crowded, with_all = measure(0, seconds), measure(VIEWERS, seconds), f"with {VIEWERS} viewers"
    return [
        line("readings late, 99th percentile", alone[0], crowded[0], with_all),
        line("silence to danger on the feed, worst", alone[1], crowded[1], with_all),
        f"scale readings kept of those due: {alone[2]:.4f} alone, {crowded[2]:.4f} with {VIEWERS} viewers",
    ]


def line(what: str, alone_s: float, laden_s: float, laden: str) -> str:
    return f"{what}: {alone_s:.4f} s alone, {laden_s:.4f} s {laden}, ratio {laden_s / alone_s:.2f}"


def measure(
    viewers: int,
    seconds: float,
    prepare: Callable[[Path], None] = lambda data: None,
    beside: tuple[Callable[[Daemon, threading.Event], None], ...] = (),
) -> tuple[float, float, float]:
    """(99th percentile of lateness s, worst time from silence to the danger on the feed s, share of readings kept).

    prepare: fills the data folder. beside: what else goes on until the event is set, each in a thread.
    """
    with tempfile.TemporaryDirectory() as folder:
        prepare(Path(folder) / "data")
        bench = BenchCart(Path(folder) / "cart", rates_hz=RATES_HZ, read_code=_code)
        daemon = Daemon(bench.cart(scale_hz=80.0), Path(folder) / "data", "127.0.0.1:0", bench.clock, SETUP)
        late: list[float] = []
        listen(daemon, bench.clock, late)
        daemon.start()
        end = threading.Event()
        watching = [threading.Thread(target=_watch, args=(daemon.url, end), daemon=True) for _ in range(viewers)]
        watching += [threading.Thread(target=work, args=(daemon, end), daemon=True) for work in beside]
        for each in watching:
            each.start()
        time.sleep(2.0)
        late.clear()
        time.sleep(seconds)
        jitter_s, kept = float(np.percentile(late, 99)), _kept(daemon)
        told_s = max(_silence_told_s(bench, daemon) for _ in range(SILENT_TRIES))
        end.set()
        daemon.stop()
        bench.stop()
    return jitter_s, told_s, kept


def _code(field: str) -> int:
    return round(GROSS_G * CODES_PER_G) if field == "w" else 300


def listen(daemon: Daemon, clock, late: list[float]) -> None:
    """How old the newest reading of a look is when the engine gets it."""
    for reader in daemon._readers:
        hand_on = reader._hand_on

        def measured(blocks, hand_on=hand_on):
            late.append(clock.now() - max(float(block.t_s[-1]) for block in blocks))
            hand_on(blocks)

        reader._hand_on = measured


def _watch(url: str, end: threading.Event) -> None:
    """A phone: the live stream, or where there is no slot left a look twice a second."""
    while not end.is_set():
        try:
            with urllib.request.urlopen(url + "api/feed", timeout=20) as stream:
                while not end.is_set() and stream.readline():
                    pass
        except urllib.error.HTTPError:
            with urllib.request.urlopen(url + "api/now", timeout=20) as answer:
                answer.read()
            end.wait(0.5)
        except OSError:
            end.wait(0.5)


def _kept(daemon: Daemon) -> float:
    daemon._recorder.flush()
    items = [item for item in daemon.port.store.batches(daemon.port.now()["session_id"]) if not isinstance(item, Mark)]
    t_s = np.concatenate([b.t_s for blocks in items for b in blocks if b.channel == "scale"])
    return (len(t_s) - 1) / (80.0 * (t_s[-1] - t_s[0]))


def _silence_told_s(bench: BenchCart, daemon: Daemon) -> float:
    viewer = daemon.port.feed.subscribe()
    until(lambda: daemon.port.now()["channels"]["scale"]["quality"] == "good")
    bench.board.silence(True)
    began = time.monotonic()
    while True:
        item = viewer.get(10)
        if item is not None and item.kind == "alert" and item.data["subject"] == "scale":
            break
    took_s = time.monotonic() - began
    bench.board.silence(False)
    until(lambda: daemon.port.now()["channels"]["scale"]["quality"] == "good")
    until(lambda: not [a for a in daemon.port.now()["alerts"] if a["subject"] == "scale"])
    return took_s


if __name__ == "__main__":
    print("\n".join(report(float(sys.argv[1]) if len(sys.argv) > 1 else 15.0)))
