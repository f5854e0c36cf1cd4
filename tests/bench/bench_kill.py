"""A recording process killed at random instants, again and again: is the store sound, is all there that was kept.

Run: python tests/bench/bench_kill.py [kills]
"""

from __future__ import annotations

import random
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

RECORD_TESTS = Path(__file__).resolve().parent.parent / "record"
sys.path.insert(0, str(RECORD_TESTS))

from store_making import CHANNELS, look  # noqa: E402 - found by the line above

from logger.record.opening import check  # noqa: E402 - as above
from logger.record.store import StoreReader  # noqa: E402 - as above


def report(kills: int = 200) -> list[str]:
    """Counts over so many kills of one session; a store that is not sound ends it with its message."""
    with tempfile.TemporaryDirectory() as folder:
        path, chance = Path(folder) / "tarebook.db", random.Random(7)
        kept, lost, second, check_s = 0, 0, 0, 0.0
        for _ in range(kills):
            told = _record_and_kill(path, second, chance.uniform(0.0, 0.25))
            start = time.perf_counter()
            check(path)
            check_s = max(check_s, time.perf_counter() - start)
            seconds = StoreReader(path).rows("SELECT coalesce(max(last_t_s), -1) AS t FROM chunk")[0]["t"]
            lost += sum(k > seconds for k in told)
            kept += len(told)
            second = int(np.floor(seconds)) + 1
        wrong = _differences(path, second)
    return [
        f"{kills} kills, {kept} seconds acknowledged, {lost} of them lost",
        f"{second} seconds of session on disk, {wrong} of them not as they were handed on",
        f"sound after every kill; the check took {check_s * 1000:.0f} ms at most",
    ]


def _record_and_kill(path: Path, second: int, after_s: float) -> list[int]:
    command = [sys.executable, str(RECORD_TESTS / "keep_until_killed.py"), str(path), str(second)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        process.stdout.readline()
        time.sleep(after_s)
        process.kill()
        return [int(line) for line in process.stdout.read().split("\n")[:-1]]


def _differences(path: Path, seconds: int) -> int:
    """How many seconds of the record differ in any bit from what was handed on."""
    rows = StoreReader(path).recording("cart-1-00001").rows
    edges = np.searchsorted(rows.t_s, np.arange(seconds + 1))
    wrong = 0
    for second in range(seconds):
        part = rows[slice(edges[second], edges[second + 1])]
        for number, block in enumerate(look(second, CHANNELS)):
            lane = part[part.channel == number]
            same = np.array_equal(lane.t_s, block.t_s) and np.array_equal(lane.value, block.value, equal_nan=True)
            wrong += not same
    return wrong


if __name__ == "__main__":
    print("\n".join(report(int(sys.argv[1]) if len(sys.argv) > 1 else 200)))
