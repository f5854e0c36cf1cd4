"""What a page left open costs a phone: the live page on a cart whose short sessions follow each other.

Run: tests/bench/run page_memory [MINUTES [FILE.csv]]. Once a minute, after a forced collection: the script's heap,
nodes and listeners of the document. And the memory of the page's process, in a second browser that nobody looks into:
one that is looked into keeps all that it was sent. The first ten minutes are left out. Flat is when the median of the
last third lies no more than FLAT above that of the first third; sessions take eight minutes, so that a third of an
hour or more holds whole ones.
"""

from __future__ import annotations

import csv
import itertools
import subprocess
import sys
import tempfile
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from statistics import median

import numpy as np

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE.parent / "shell"), str(HERE.parent.parent)]

from bench_cart import CODES_PER_G, SETUP, BenchCart  # noqa: E402 - found by the line above
from playwright.sync_api import Page, sync_playwright  # noqa: E402 - as above

from logger.daemon import Daemon  # noqa: E402 - as above

CHROMIUM = "/usr/bin/chromium"
ARGUMENTS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update"]
MINUTE_S, WARM_UP = 60.0, 10
FLAT = {"heap_kb": 1.05, "nodes": 1.05, "listeners": 1.05, "process_kb": 1.10}
CHOOSE = "(window) => document.querySelector(`input[name=window][value=${window}]`).click()"
SETTLED_PA, HELD_RISE_PA_PER_S = 40.0, 0.05

# Stage by stage: how long, and where gross mass, low and high side stand at its end; between, straight lines.
COURSE = (
    ("identification", 20.0, 5000.0, 0.0, 0.0),
    ("evacuation", 80.0, 5000.0, -101.0, -101.0),
    ("vacuum_hold", 120.0, 5000.0, -101.0, -101.0),
    ("charging", 180.0, 4700.0, 310.0, 1300.0),
    ("performance", 75.0, 4700.0, 250.0, 1450.0),
)
PROBES = {"t1": (27.0, 27.5), "t2": (26.0, 11.0), "t3": (24.0, 25.0)}  # at the beginning and at the end
RATES_HZ = {"w": 10.0, "lo": 5.0, "hi": 5.0, "va": 2.0, "t1": 1.0, "t2": 1.0, "t3": 1.0}
MORE = "\n".join(
    [
        '[channel.high_side]\nsource = "board"\nfield = "hi"\nunit = "kPa"\nrate_hz = 5\npoints = [[0, 0.0], [1, 1.0]]',
        '[channel.vacuum]\nsource = "board"\nfield = "va"\nunit = "Pa"\nrate_hz = 2\npoints = [[0, 0.0], [10, 1.0]]',
        '[channel.vent_temp]\nsource = "board"\nfield = "t2"\nunit = "°C"\nrate_hz = 1',
        '[channel.container_temp]\nsource = "board"\nfield = "t3"\nunit = "°C"\nrate_hz = 1',
    ]
)
ENDS_S = np.cumsum([0.0, *(step[1] for step in COURSE)])
LENGTH_S = float(ENDS_S[-1])


class Course:
    """What the sensors say in one session after another; `began_s` is when the present one began."""

    def __init__(self) -> None:
        self.now, self.began_s = lambda: 0.0, 0.0

    def read(self, field: str) -> int:
        t_s = min(self.now() - self.began_s, LENGTH_S)
        if field in PROBES:
            return round(16 * float(np.interp(t_s, [0.0, LENGTH_S], PROBES[field])))
        if field == "va":
            down = 2700.0 * np.exp(-max(0.0, t_s - ENDS_S[1]) / 15.0) + SETTLED_PA
            pa = down + HELD_RISE_PA_PER_S * max(0.0, t_s - ENDS_S[2]) if t_s < ENDS_S[3] else 2700.0
            return round(10 * pa)
        column = {"w": 2, "lo": 3, "hi": 4}[field]
        values = [COURSE[0][column], *(step[column] for step in COURSE)]
        value = float(np.interp(t_s, ENDS_S, values)) + np.random.default_rng().normal(0.0, 0.5)
        return round(value * CODES_PER_G) if field == "w" else round(value)


def work(daemon: Daemon, course: Course, ended: threading.Event) -> None:
    """Sessions one after another, each stage told, until `ended`."""
    while not ended.is_set():
        course.began_s = course.now()
        daemon.port.open_session(SETUP)
        for stage, lasts_s, *_ in COURSE:
            daemon.port.mark({"mark": "stage", "detail": {"stage": stage}})
            if ended.wait(lasts_s):
                return
        daemon.port.close_session()
        ended.wait(3.0)


@contextmanager
def unwatched(url: str) -> Iterator[str]:
    """A browser that nobody looks into, with the page open; what its processes have in their command lines."""
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as profile:
        where = [f"--user-data-dir={profile}", "--headless=new", "--window-size=390,844", url]
        process = subprocess.Popen([CHROMIUM, *ARGUMENTS, *where], stderr=subprocess.DEVNULL)
        try:
            yield profile
        finally:
            process.terminate()
            process.wait(10)


def process_kb(profile: str) -> int:
    """Memory held by the page processes of that browser together."""
    held = 0
    for folder in Path("/proc").glob("[0-9]*"):
        try:
            words = (folder / "cmdline").read_bytes().decode("utf-8", "replace")
            lines = (folder / "status").read_text("utf-8").splitlines()
        except OSError:  # it has ended meanwhile
            continue
        if "--type=renderer" in words and profile in words:
            held += sum(int(line.split()[1]) for line in lines if line.startswith("VmRSS"))
    return held


class Held:
    """What a page holds now."""

    def __init__(self, page: Page, profile: str):
        self._profile, self._devtools = profile, page.context.new_cdp_session(page)
        self._devtools.send("Performance.enable")

    def look(self, minute: int) -> dict[str, int]:
        for _ in range(2):
            self._devtools.send("HeapProfiler.collectGarbage")
        said = {each["name"]: each["value"] for each in self._devtools.send("Performance.getMetrics")["metrics"]}
        return {
            "minute": minute,
            "heap_kb": round(said["JSHeapUsedSize"] / 1024),
            "nodes": int(said["Nodes"]),
            "listeners": int(said["JSEventListeners"]),
            "process_kb": process_kb(self._profile),
        }


def watched(url: str, minutes: int, write) -> list[dict[str, int]]:
    """A row a minute; the charts show the last minutes and the whole session in turns."""
    rows = []
    with sync_playwright() as playwright, unwatched(url) as profile:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        page = browser.new_page(viewport={"width": 390, "height": 844})
        page.goto(url)
        page.wait_for_selector("html[data-live=yes]")
        held = Held(page, profile)
        for minute, window in zip(range(minutes + 1), itertools.cycle(["recent", "whole"]), strict=False):
            rows.append(held.look(minute))
            write(rows[-1])
            page.evaluate(CHOOSE, window)
            page.wait_for_timeout(1000 * MINUTE_S)
        browser.close()
    return rows


def said(rows: list[dict[str, int]]) -> list[str]:
    """The table: first, last, slope, and whether that is flat."""
    kept = rows[WARM_UP:] if len(rows) > 2 * WARM_UP else rows
    third = max(1, len(kept) // 3)
    lines = [f"{len(rows) - 1} minutes; the first {len(rows) - len(kept)} looks are left out"]
    for name, most in FLAT.items():
        values = [row[name] for row in kept]
        slope = 60 * np.polyfit([row["minute"] for row in kept], values, 1)[0] if len(kept) > 1 else 0.0
        ratio = median(values[-third:]) / median(values[:third])
        verdict = "flat" if ratio <= most else "grows"
        lines.append(
            f"{name}: first {values[0]}, last {values[-1]}, {slope:+.0f} an hour; "
            f"last third over first third {ratio:.3f}, {verdict} (at most {most})"
        )
    return lines


def main(minutes: int, path: Path | None) -> None:
    course, ended = Course(), threading.Event()
    with tempfile.TemporaryDirectory() as folder:
        bench = BenchCart(Path(folder) / "cart", rates_hz=RATES_HZ, read_code=course.read)
        course.now = bench.clock.now
        daemon = Daemon(bench.cart(more=MORE), Path(folder) / "data", "127.0.0.1:0", bench.clock)
        daemon.start()
        worker = threading.Thread(target=work, args=(daemon, course, ended))
        worker.start()
        try:
            with open(path or Path(folder) / "rows.csv", "w", newline="", encoding="utf-8") as file:
                writer = csv.DictWriter(file, ["minute", *FLAT])
                writer.writeheader()
                print("\n".join(said(watched(daemon.url, minutes, lambda row: (writer.writerow(row), file.flush())))))
        finally:
            ended.set()
            worker.join()
            daemon.stop()
            bench.stop()


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 120, Path(sys.argv[2]) if len(sys.argv) > 2 else None)
