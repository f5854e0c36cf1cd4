"""A process killed at random instants of a session, again and again: is the store sound, is all there that was kept,
does the session go on, and what does it come to beside the same session undisturbed.

tests/bench/run kill [KILLS]   (default 200)
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
FILL_CHILD = Path(__file__).resolve().parent / "fill_until_killed.py"
sys.path.insert(0, str(RECORD_TESTS))

from store_making import CHANNELS, look  # noqa: E402 - found by the line above

from firmware_bridge.virtual.rollout import rollout  # noqa: E402 - as above
from firmware_bridge.virtual.scenario import random_fill  # noqa: E402 - as above
from logger.measure.marks import Mark  # noqa: E402 - as above
from logger.record.opening import check  # noqa: E402 - as above
from logger.record.recording import Recording, write_recording  # noqa: E402 - as above
from logger.record.rows import Rows  # noqa: E402 - as above
from logger.record.store import StoreReader  # noqa: E402 - as above
from logger.replay import replay  # noqa: E402 - as above

SPEED = 40.0
"""Times real time at which the fill goes by between two kills."""
OFF_S = 1.2
"""How much of the session is missing after a kill: what was not on disk yet, and a restart."""


def report(kills: int = 200) -> list[str]:
    """Counts over so many kills of one session; a store that is not sound ends it with its message."""
    with tempfile.TemporaryDirectory() as folder:
        path, chance = Path(folder) / "tarebook.db", random.Random(7)
        kept, lost, second, check_s = 0, 0, 0, 0.0
        for _ in range(kills):
            told = _record_and_kill(path, chance.uniform(0.0, 0.25))
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
        *_fill(kills),
    ]


def _fill(kills: int) -> list[str]:
    """A fill with as many kills in it as asked for, and its findings beside those of the undisturbed one."""
    played = rollout(random_fill(4, "undisturbed"))
    rows = Rows(played.t_s, played.channel.astype(np.uint8), played.value)
    whole = Recording(played.setup, rows, [Mark(*mark) for mark in played.marks])
    end_s, chance, done = float(played.t_s[-1]), random.Random(9), 0
    with tempfile.TemporaryDirectory() as folder:
        path, fill = Path(folder) / "tarebook.db", Path(folder) / "fill.zip"
        write_recording(whole, fill)
        while done < kills and _play_and_kill(path, fill, chance.uniform(0.0, 2.0 * (end_s / kills - OFF_S) / SPEED)):
            done += 1
            check(path)
        _play_and_kill(path, fill, None)
        reader = StoreReader(path)
        kept = reader.recording(whole.session_id)
        found, undisturbed = reader.findings(whole.session_id)["charge"], replay(whole)["charge"]
        again = replay(kept)["charge"]
    off_g, missing = found["delivered_g"] - undisturbed["delivered_g"], 1.0 - len(kept.rows) / len(rows)
    allowed_g = float(np.hypot(found["uncertainty_g"], undisturbed["uncertainty_g"]))
    return [
        f"a fill of {end_s:.0f} s killed {done} times and gone on with; {100 * missing:.0f} % of its readings missing",
        f"delivered {found['delivered_g']:.1f} g, undisturbed {undisturbed['delivered_g']:.1f} g: {off_g:+.1f} g off; "
        f"within {allowed_g:.1f} g: {'yes' if abs(off_g) <= allowed_g else 'NO'}",
        f"replayed from what was kept: {'the same' if again == found else 'NOT THE SAME'}",
    ]


def _play_and_kill(path: Path, fill: Path, after_s: float | None) -> bool:
    """Whether it was killed before it came to its end; with None it is left to come there."""
    command = [sys.executable, str(FILL_CHILD), str(path), str(fill), str(SPEED if after_s is not None else 1e6)]
    with subprocess.Popen([*command, str(OFF_S)], stdout=subprocess.PIPE, text=True) as process:
        process.stdout.readline()
        if after_s is not None:
            time.sleep(after_s)
            process.kill()
        return process.wait() < 0


def _record_and_kill(path: Path, after_s: float) -> list[int]:
    command = [sys.executable, str(RECORD_TESTS / "keep_until_killed.py"), str(path)]
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
