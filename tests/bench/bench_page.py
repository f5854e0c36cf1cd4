"""The live page on a slow phone, how soon a reading of a running cart is seen on it, what viewers cost the readings.

Run: tests/bench/run page [STEPS]. Weight and times are of a fresh browser with the processor slowed four times and a
network of 150 ms and 1.6 Mbit/s; sample to pixels runs from the moment the emulated board read a value to the frame
that shows it, alone and with VIEWERS more phones; lateness is how old a look's newest reading is when the logger gets
it, without viewers and with CROWD. `tests/bench/run page_memory` says what a page left open holds.
"""

from __future__ import annotations

import random
import subprocess
import sys
import tempfile
import threading
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE.parent / "shell"), str(HERE.parent.parent)]

from bench_cart import CODES_PER_G, GROSS_G, SETUP, BenchCart  # noqa: E402 - found by the line above
from bench_load import listen  # noqa: E402 - beside this file
from page_visit import SIZE, table, visited  # noqa: E402 - beside this file
from playwright.sync_api import Browser, Page, sync_playwright  # noqa: E402 - as above

from logger.daemon import Daemon  # noqa: E402 - as above

CHROMIUM = "/usr/bin/chromium"
ARGUMENTS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update"]
VIEWERS, CROWD, CROWD_S = 20, 50, 10.0
LOADS = 5
ALERTS = 20
WATCH = """() => { window.seen = [];
  const note = (words) => requestAnimationFrame(() => setTimeout(() => seen.push([words, Date.now()])));
  const of = (place, words) => new MutationObserver(() => note(words())).observe(place,
    {subtree: true, childList: true, characterData: true});
  const low = document.querySelector('#low_side .value'), alerts = document.querySelector('#alerts');
  of(low, () => low.textContent); of(alerts, () => alerts.textContent); }"""


class Board:
    """Codes of an emulated board; `stepped` says when it first read each value of the low side."""

    def __init__(self) -> None:
        self.low_kpa = 300
        self.stepped: dict[int, float] = {}

    def read(self, field: str) -> int:
        if field == "lo":
            self.stepped.setdefault(self.low_kpa, time.time() * 1000)
            return self.low_kpa
        return round(GROSS_G * CODES_PER_G) if field == "w" else 400


@contextmanager
def running(board: Board, late: list[float]) -> Iterator[Daemon]:
    """A daemon with its pages on an emulated board: the scale 80 times a second, the low side 10 times."""
    with tempfile.TemporaryDirectory() as folder:
        bench = BenchCart(Path(folder) / "cart", rates_hz={"w": 80.0, "lo": 10.0, "t1": 1.0}, read_code=board.read)
        daemon = Daemon(bench.cart(scale_hz=80.0), Path(folder) / "data", "127.0.0.1:0", bench.clock, SETUP)
        listen(daemon, bench.clock, late)
        daemon.start()
        try:
            yield daemon
        finally:
            daemon.stop()
            bench.stop()


@contextmanager
def watching(url: str, viewers: int) -> Iterator[None]:
    """So many more phones, in a process of their own that takes what time the cart leaves: phones have their own."""
    process = subprocess.Popen(["nice", "-n", "19", sys.executable, __file__, "--watch", url, str(viewers)])
    try:
        yield time.sleep(2.0)
    finally:
        process.terminate()
        process.wait(10)


def watch(url: str, viewers: int) -> None:
    """What that process does: read the stream, and again when it ends; look once a second where no place is free."""

    def follow() -> None:
        while True:
            try:
                with urllib.request.urlopen(url + "api/feed", timeout=30) as stream:
                    while stream.readline():
                        pass
            except urllib.error.HTTPError:
                with urllib.request.urlopen(url + "api/now", timeout=30) as answer:
                    answer.read()
                time.sleep(1.0)

    threads = [threading.Thread(target=follow) for _ in range(viewers)]
    for thread in threads:
        thread.start()


def opened(browser: Browser, url: str) -> Page:
    page = browser.new_page(viewport=SIZE)
    page.goto(url)
    page.wait_for_selector("html[data-live=yes]")
    page.evaluate(WATCH)
    return page


def sample_to_pixels_ms(page: Page, board: Board, steps: int) -> list[float]:
    """From the board's reading of each new value to the frame that shows it."""
    chance = random.Random(4)
    wanted = []
    for _ in range(steps):
        board.low_kpa += 1
        wanted.append(board.low_kpa)
        page.wait_for_timeout(chance.uniform(350, 550))
    seen = dict(reversed([(words, at) for words, at in page.evaluate("seen")]))
    return [seen[f"{kpa} kPa"] - board.stepped[kpa] for kpa in wanted if f"{kpa} kPa" in seen]


def alert_to_pixels_ms(page: Page, daemon: Daemon) -> list[float]:
    """From an alert's way into the feed to the frame that shows it."""
    took = []
    for seq in range(900, 900 + ALERTS):
        words = f"alert number {seq}"
        told = time.time() * 1000
        alert = {"seq": seq, "t_s": 0.0, "code": "sensor-stale", "severity": "caution", "message": words}
        daemon.port.feed.publish("alert", {**alert, "state": "raised", "session_id": daemon.port.now()["session_id"]})
        page.wait_for_timeout(400)
        shown = [at for text, at in page.evaluate("seen") if words in text]
        took += [min(shown) - told] if shown else []
    return took


def late_ms(late: list[float]) -> tuple[float, float]:
    """(median, 99th percentile) of the lateness over the next CROWD_S."""
    late.clear()
    time.sleep(CROWD_S)
    middle, most = np.percentile(late, [50, 99]) * 1000
    return float(middle), float(most)


def acquisition(daemon: Daemon, late: list[float]) -> str:
    """Lateness without viewers, and with a crowd of them, in turns that even out what else the machine does."""
    alone, crowded = [], []
    for _ in range(3):
        alone.append(late_ms(late))
        with watching(daemon.url, CROWD):
            crowded.append(late_ms(late))
    (middle, most), (middle_crowd, most_crowd) = np.median(alone, axis=0), np.median(crowded, axis=0)
    return (
        f"readings late without viewers: median {middle:.1f} ms, p99 {most:.1f} ms; with {CROWD}: "
        f"{middle_crowd:.1f} ms, {most_crowd:.1f} ms; ratio {middle_crowd / middle:.2f} and {most_crowd / most:.2f}"
    )


def report(steps: int = 60) -> list[str]:
    """The lines of the table."""
    board, late = Board(), []
    with running(board, late) as daemon:
        with sync_playwright() as playwright:
            browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
            visits = [visited(browser, daemon.url) for _ in range(LOADS)]
            page = opened(browser, daemon.url)
            alone = sample_to_pixels_ms(page, board, steps)
            with watching(daemon.url, VIEWERS):
                crowded = sample_to_pixels_ms(page, board, steps)
                alerts = alert_to_pixels_ms(page, daemon)
                viewers = daemon.port.feed.viewers()
            browser.close()
        late_line = acquisition(daemon, late)
    return [
        *table(visits),
        f"sample to pixels alone: {_spread(alone, steps)}",
        f"sample to pixels with {viewers - 1} more viewers: {_spread(crowded, steps)} (at most 250), ratio of p95 "
        f"{np.percentile(crowded, 95) / np.percentile(alone, 95):.2f}",
        f"alert to pixels with {viewers - 1} more viewers: {_spread(alerts, ALERTS)} (at most 300)",
        late_line,
    ]


def _spread(took_ms: list[float], of: int) -> str:
    middle, most = np.percentile(took_ms, [50, 95])
    return f"median {middle:.0f} ms, p95 {most:.0f} ms ({len(took_ms)} of {of} seen)"


if __name__ == "__main__":
    if sys.argv[1:2] == ["--watch"]:
        watch(sys.argv[2], int(sys.argv[3]))
    else:
        print("\n".join(report(int(sys.argv[1]) if len(sys.argv) > 1 else 60)))
