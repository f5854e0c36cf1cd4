"""What the store costs: readings ingested a second beside a bare executemany, room on disk, and charts.

Run as a program; `report()` gives the lines.
"""

from __future__ import annotations

import sqlite3
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from firmware_bridge.blocks import CHANNEL_UNITS, Block
from firmware_bridge.calibration import Calibration
from logger.record.recording import read_recording, write_recording
from logger.record.store import Store

POINTS = {"scale": [[0, 0.0], [420000, 2000.0]], "low_side": [[102, 0.0], [921, 3447.4]]}
SETUP = {"cart_id": "cart-1", "refrigerant": "R-134a", "placard": {"low_g": 480, "high_g": 520}}


def channels() -> dict:
    """80 readings a second of weight, 10 of two pressures and the vacuum, 2 of seven slow channels."""
    rates = {"scale": 80.0, "low_side": 10.0, "high_side": 10.0, "vacuum": 10.0}
    points = {**POINTS, "high_side": POINTS["low_side"], "vacuum": POINTS["low_side"]}
    return {
        name: {"unit": unit, "rate_hz": rates.get(name, 2.0), "points": points.get(name)}
        for name, unit in CHANNEL_UNITS.items()
    }


def looks(hours: float) -> list[list[Block]]:
    """A second each: noise of a load cell and a 12-bit converter about slow drifts, times with 20 us of jitter."""
    rng = np.random.default_rng(1)
    made = {name: _signal(rng, channel, int(hours * 3600)) for name, channel in channels().items()}
    return [[made[name][second] for name in made] for second in range(int(hours * 3600))]


def _signal(rng: np.random.Generator, channel: dict, seconds: int) -> list[Block]:
    rate = int(channel["rate_hz"])
    count = seconds * rate
    name = next(name for name, unit in channels().items() if unit == channel)
    t_s = np.round(np.arange(count) / rate + rng.normal(0.0005, 0.00002, count).clip(0, 0.001), 6)
    drift = np.cumsum(rng.normal(0, 0.5, count))
    if channel["points"]:
        code = np.round(500_000 + 5 * drift + rng.normal(0, 60, count) if rate == 80 else 400 + rng.normal(0, 1, count))
        code = code.astype(np.int32)
        value = Calibration(channel["points"]).apply(code)
    else:
        code, value = None, np.round((20 + 0.01 * drift) * 16) / 16
    parts = [slice(k, k + rate) for k in range(0, count, rate)]
    return [Block(name, t_s[p], value[p], None if code is None else code[p]) for p in parts]


def report(hours: float = 3.0) -> list[str]:
    """Every line is measured in this run, in a folder that goes away with it."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder)
        made = looks(hours)
        readings = sum(len(block) for blocks in made for block in blocks)
        store = Store.open(path / "tarebook.db")
        ours_s, session_id = _ingest(store, made)
        bare_s = _bare(path / "bare.db", made)
        store.close_session(session_id)
        lines = [
            f"ingested {readings} readings: {readings / ours_s:.0f}/s, a transaction for each second",
            f"bare executemany of the same: {readings / bare_s:.0f}/s; ours takes {ours_s / bare_s:.1f} times as long",
            *_charts(store, session_id, hours * 3600),
            *_read_back(store, session_id, path),
        ]
        store.close()
        size = (path / "tarebook.db").stat().st_size
        bare = (path / "bare.db").stat().st_size
        return [*lines, f"{size / 1e6 / hours:.2f} MB an hour; bare rows {bare / 1e6 / hours:.1f} MB an hour"]


def _ingest(store: Store, made: list[list[Block]]) -> tuple[float, str]:
    session_id = store.create_session(SETUP, channels(), None, {})
    start = time.perf_counter()
    for blocks in made:
        store.append(session_id, blocks)
        store.commit()
    return time.perf_counter() - start, session_id


def _bare(path: Path, made: list[list[Block]]) -> float:
    """One row a reading into one table, the same transactions and the same safety."""
    connection = sqlite3.connect(path, isolation_level=None)
    connection.execute("PRAGMA journal_mode = WAL")
    connection.execute("PRAGMA synchronous = FULL")
    connection.execute("CREATE TABLE reading (channel INTEGER, t_s REAL, value REAL)")
    start = time.perf_counter()
    for blocks in made:
        connection.execute("BEGIN")
        for k, block in enumerate(blocks):
            rows = zip([k] * len(block), block.t_s.tolist(), block.value.tolist(), strict=True)
            connection.executemany("INSERT INTO reading VALUES (?, ?, ?)", rows)
        connection.execute("COMMIT")
    spent = time.perf_counter() - start
    connection.close()
    return spent


def _charts(store: Store, session_id: str, end_s: float) -> list[str]:
    reader, lines = store.reader(), []
    for from_s, to_s in ((0, end_s), (end_s / 3, end_s / 3 + 1000), (end_s / 2, end_s / 2 + 60)):
        start = time.perf_counter()
        for name in channels():
            reader.readings(session_id, name, from_s, to_s, 1000)
        each_ms = (time.perf_counter() - start) / len(channels()) * 1000
        start = time.perf_counter()
        reader.readings(session_id, "scale", from_s, to_s, 1000)
        scale_ms = (time.perf_counter() - start) * 1000
        lines.append(f"chart of {to_s - from_s:.0f} s: {each_ms:.1f} ms a channel, the weight {scale_ms:.1f} ms")
    return lines


def _read_back(store: Store, session_id: str, path: Path) -> list[str]:
    start = time.perf_counter()
    recording = store.reader().recording(session_id)
    from_store_s = time.perf_counter() - start
    start = time.perf_counter()
    write_recording(recording, path / "out.zip")
    written_s = time.perf_counter() - start
    start = time.perf_counter()
    read_recording(path / "out.zip")
    read_s = time.perf_counter() - start
    return [
        f"whole session of {len(recording.rows)} readings: from the store {from_store_s:.2f} s, "
        f"to a zip {written_s:.2f} s, from the zip {read_s:.2f} s"
    ]


if __name__ == "__main__":
    print("\n".join(report(float(sys.argv[1]) if len(sys.argv) > 1 else 3.0)))
