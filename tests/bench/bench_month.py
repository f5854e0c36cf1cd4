"""A month of a cart that is always on, in minutes: does anything grow that should not?

tests/bench/run month [DAYS]   (default 30)

The real daemon with page, broker and record, its clock and its wall clock moved on by hand. A session each working day
runs through it at the sensors' own rates, a look and a commit a second, as live. Between them each channel gives a
reading a second, handed on a minute at a time. What goes by the real clock (snapshots, messages, housekeeping) goes on
as it does live, so it comes round as often as in the minutes that the bench takes, not as often as in a month.
"""

from __future__ import annotations

import contextlib
import gc
import itertools
import logging
import os
import queue
import resource
import shutil
import sys
import tempfile
import threading
import time
import urllib.request
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from brokers import Broker  # noqa: E402 - found by the line above

from firmware_bridge.blocks import Block  # noqa: E402 - as above
from firmware_bridge.cart import Cart, load_cart  # noqa: E402 - as above
from firmware_bridge.clock import Clock  # noqa: E402 - as above
from firmware_bridge.source import ChannelHealth  # noqa: E402 - as above
from firmware_bridge.virtual.rollout import rollout  # noqa: E402 - as above
from firmware_bridge.virtual.scenario import random_fill  # noqa: E402 - as above
from logger import daemon as logger_daemon  # noqa: E402 - as above
from logger.wallclock import WallClock  # noqa: E402 - as above

BEGINS = datetime(2026, 3, 2, tzinfo=UTC)
SESSION_AT_S = 10 * 3600.0
DAY_S, IDLE_LOOK_S = 86400.0, 60.0
KEPT_DAYS = 7
SILENT_S = 30.0
FIELDS = ("w", "lo", "hi", "va", "t1", "t2", "t3", "t4", "t5")
PAGES = ("api/now", "metrics", "healthz", "sessions", "")


class HandClock(Clock):
    """Shows what it was put to."""

    def __init__(self):
        super().__init__()
        self.began_s = self.at_s = time.monotonic()

    def now(self) -> float:
        return self.at_s

    def utc(self) -> datetime:
        return BEGINS + timedelta(seconds=self.at_s - self.began_s)


class GivenSource:
    """Gives what it was given."""

    name = "given"

    def __init__(self, channels: tuple[str, ...]):
        self.channels = channels
        self._given: queue.Queue[list[Block]] = queue.Queue(1)

    def give(self, blocks: list[Block]) -> None:
        self._given.put(blocks)
        self._given.join()

    def open(self) -> None:
        """Always there."""

    def read(self, timeout_s: float) -> list[Block]:
        """The thread that asks again has handed on what it was given before."""
        if self._given.unfinished_tasks:
            self._given.task_done()
        with contextlib.suppress(queue.Empty):
            return self._given.get(timeout=timeout_s)
        return []

    def health(self) -> list[ChannelHealth]:
        return [ChannelHealth(name, "good", "") for name in self.channels]

    def counters(self) -> dict[str, int]:
        return {}

    def close(self) -> None:
        """Always there."""


@dataclass(frozen=True)
class Size:
    """At the end of a day. blocks: of memory that Python holds; objects: that its collector knows."""

    day: int
    sessions: int
    rss_mb: float
    blocks: int
    objects: int
    wal_mb: float
    store_mb: float
    log_kb: float
    descriptors: int
    threads: int

    def __str__(self) -> str:
        return (
            f"day {self.day:3d}: {self.sessions} sessions kept, memory {self.rss_mb:.1f} MB, {self.blocks} blocks, "
            f"{self.objects} objects, log of writes {self.wal_mb:.2f} MB, store {self.store_mb:.1f} MB, "
            f"log {self.log_kb:.1f} kB, {self.descriptors} descriptors, {self.threads} threads"
        )


class Month:
    """The cart; use it with `with`."""

    def __init__(self, folder: Path):
        self._folder, self.clock = folder, HandClock()
        self.played = rollout(random_fill(4, "undisturbed"))
        self._log = folder / "log"
        self._handler = logging.FileHandler(self._log)
        self._end = threading.Event()
        self.failed: list[str] = []

    def __enter__(self) -> Month:
        logging.getLogger().addHandler(self._handler)
        logging.getLogger().setLevel(logging.INFO)
        self._broker = Broker(self._folder) if shutil.which("mosquitto") else None
        if self._broker:
            self._broker.start()
        cart = self._cart()
        self._source = GivenSource(tuple(cart.channels))
        logger_daemon.WallClock = partial(WallClock, keeps_time=lambda: True, now=self.clock.utc)
        where = self._folder / "data", "127.0.0.1:0", self.clock
        self.daemon = logger_daemon.Daemon(cart, *where, sources=[self._source])
        self.daemon.start()
        self._asleep = self.daemon.port.feed.subscribe()
        self._viewers = [threading.Thread(target=work, daemon=True) for work in (self._watch, self._look_around)]
        for viewer in self._viewers:
            viewer.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._end.set()
        for viewer in self._viewers:
            viewer.join(10)
        self.daemon.stop()
        if self._broker:
            self._broker.stop()
        logger_daemon.WallClock = WallClock
        logging.getLogger().removeHandler(self._handler)
        self._handler.close()

    def day(self, number: int) -> Size:
        """Live it; how large all is at its end."""
        midnight_s = self.clock.began_s + number * DAY_S
        if (BEGINS + timedelta(days=number)).weekday() < 5:
            self._idle_until(midnight_s + SESSION_AT_S)
            self._session()
            self.silence()
        self._idle_until(midnight_s + DAY_S)
        self.daemon._keeping._retention.look(self.clock.now(), self.clock.utc())
        return self._size(number + 1)

    def idle_hours(self, hours: float) -> Size:
        """So long without a session; how large all is then."""
        self._idle_until(self.clock.at_s + hours * 3600.0)
        return self._size(0)

    def _cart(self) -> Cart:
        lines = ['[cart]\nid = "month"', '[board]\nport = "/dev/null"', f"[limits]\nkeep_signed_days = {KEPT_DAYS}"]
        for field, (name, channel) in zip(FIELDS, self.played.setup["channels"].items(), strict=False):
            kind = f'[channel.{name}]\nsource = "board"\nfield = "{field}"\nrate_hz = {channel["rate_hz"]}'
            points = f'\nunit = "{channel["unit"]}"\npoints = [[0, 0.0], [1000, 1000.0]]'
            lines.append(kind + ("" if channel["unit"] == "°C" else points))
        if self._broker:
            lines.append(f'[mqtt]\nhost = "127.0.0.1"\nport = {self._broker.port}')
        path = self._folder / "cart.toml"
        path.write_text("\n".join(lines) + "\n", "utf-8")
        return load_cart(path)

    def _hand_on(self, blocks: list[Block], to_s: float) -> None:
        """Readings up to that time, judged when this returns."""
        self.clock.at_s = to_s
        self._source.give(blocks)
        self.daemon._engine.call(lambda run: None)

    def _idle_until(self, to_s: float) -> None:
        """What the played fill began with, with the noise of the sensors."""
        first = {name: self.played.readings(name)[1][:50] for name in self._source.channels}
        while self.clock.at_s < to_s:
            end_s = min(self.clock.at_s + IDLE_LOOK_S, to_s)
            t_s = np.arange(self.clock.at_s + 0.5, end_s, 1.0)
            chance = np.random.default_rng(int(end_s))
            blocks = [Block(name, t_s, chance.choice(values, len(t_s))) for name, values in first.items()]
            self._hand_on([block for block in blocks if len(block)], end_s)

    def _session(self) -> None:
        setup = {k: v for k, v in self.played.setup.items() if k not in OF_RECORDING}
        session_id = self.daemon.port.open_session(setup)
        began_s, kept = self.clock.at_s, 0
        for item in self.played.batches(1.0):
            if isinstance(item, tuple):
                if item[2].get("stage") == "closed":
                    break
                self.daemon.port.mark({"mark": item[1], "detail": item[2]})
                continue
            mine = [block for block in item if block.channel in self._source.channels]
            blocks = [Block(block.channel, block.t_s + began_s, block.value) for block in mine]
            kept += sum(map(len, blocks))
            self._hand_on(blocks, began_s + max(float(block.t_s[-1]) for block in mine))
            self.daemon._recorder.flush(60)
        self.daemon.port.close_session()
        self._check(session_id, kept)
        self.daemon.port.desk.decide(session_id, "signed", "R. Two", "")

    def _check(self, session_id: str, handed_on: int) -> None:
        store = self.daemon.port.store
        found, kept = store.findings(session_id), len(store.recording(session_id).rows)
        if kept != handed_on:
            self.failed.append(f"{session_id}: {kept} readings of {handed_on} kept")
        if found is None or found["charge"]["delivered_g"] is None:
            self.failed.append(f"{session_id}: not judged")

    def silence(self) -> None:
        """The board says nothing while time goes on; that becomes an alert."""
        self.clock.at_s += SILENT_S
        for _ in range(200):
            self.clock.at_s += 0.1
            if [alert for alert in self.daemon.port.now()["alerts"] if alert["code"] == "sensor-stale"]:
                return
            time.sleep(0.1)
        self.failed.append("a silence was not told")

    def _watch(self) -> None:
        """A phone's live stream, again and again."""
        feed = self.daemon.url + "api/feed"
        while not self._end.is_set():
            with contextlib.suppress(OSError), urllib.request.urlopen(feed, timeout=20) as stream:
                while not self._end.is_set() and stream.readline():
                    pass

    def _look_around(self) -> None:
        """Somebody who opens one page after the other."""
        for page in itertools.cycle(PAGES):
            with contextlib.suppress(OSError), urllib.request.urlopen(self.daemon.url + page, timeout=20) as answer:
                answer.read()
            if self._end.wait(0.5):
                return

    def _size(self, day: int) -> Size:
        gc.collect()
        store = self._folder / "data" / "tarebook.db"
        wal = store.with_name(store.name + "-wal")
        pages = int(Path("/proc/self/statm").read_text().split()[1])
        return Size(
            day,
            len(self.daemon.port.store.sessions()),
            pages * resource.getpagesize() / 1e6,
            sys.getallocatedblocks(),
            len(gc.get_objects()),
            wal.stat().st_size / 1e6,
            store.stat().st_size / 1e6,
            self._log.stat().st_size / 1e3,
            len(os.listdir("/proc/self/fd")),
            threading.active_count(),
        )


OF_RECORDING = ("format", "version", "session_id", "cart_id", "started_utc", "channels")


def report(days: int = 30) -> Iterator[str]:
    """Told on the days 1, 10, 20, ... and the last."""
    began = time.monotonic()
    with tempfile.TemporaryDirectory() as folder, Month(Path(folder)) as lived:
        for number in range(days):
            size = lived.day(number)
            if number + 1 in (1, days) or (number + 1) % 10 == 0:
                yield str(size)
        lived.failed += ["a look failed"] * lived.daemon._engine.failures
        yield f"{days} days in {time.monotonic() - began:.0f} s; " + ("; ".join(lived.failed) or "nothing went wrong")


if __name__ == "__main__":
    for line in report(int(sys.argv[1]) if len(sys.argv) > 1 else 30):
        print(line, flush=True)
