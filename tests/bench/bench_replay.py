"""How long `tarebook replay` takes for a session of three hours: 80 readings a second of weight, and ten more channels.

tests/bench/run replay [HOURS]   (default 3). The command is timed from outside, start of the interpreter included, and
beside it a process that does nothing but read the same rows with Python's csv and float().
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

import numpy as np

from firmware_bridge.blocks import CHANNEL_UNITS
from firmware_bridge.virtual.rollout import Rollout, rollout
from firmware_bridge.virtual.scenario import random_fill
from firmware_bridge.virtual.setting import Step
from logger.measure.marks import Mark
from logger.record.recorded import Recording
from logger.record.recording_write import write_recording
from logger.record.rows import Rows

RUNS = 5
PLAIN = (
    "import csv, sys; print(sum(float(v or 0) for _, _, v in list(csv.reader(open(sys.argv[1], newline='')))[1:]) > 0)"
)
FASTEST_HZ = {"low_side": 10.0, "high_side": 10.0, "vacuum": 10.0}
OTHERS_HZ = 2.0


def session(hours: float) -> Recording:
    """A virtual session of so many hours: pump-down, hold, fill and a long look at the performance, and from beginning
    to end a container on the platform, so that every frame is weighed."""
    hour_s = 3600.0 * hours / 3.0
    scenario = random_fill(7, "disturbed", rate_hz=80.0)
    charge = next(step for step in scenario.steps if step.kind == "charge")
    steps = (
        Step("wait", seconds=5.0),
        Step("evacuate", seconds=0.75 * hour_s),
        Step("hold", seconds=0.75 * hour_s),
        charge,
        Step("perform", seconds=1.4 * hour_s),
        Step("close", seconds=3.0),
    )
    played = rollout(replace(scenario, steps=steps, max_duration_s=3600.0 * hours, step_s=0.1))
    return _recording(played)


def _recording(played: Rollout) -> Recording:
    """Channels at the rates of a fast board: the scale's readings as they are, the others' with more in between."""
    rng, columns, channels = np.random.default_rng(3), [], {}
    for number, (name, unit) in enumerate(CHANNEL_UNITS.items()):
        rate_hz = 80.0 if name == "scale" else FASTEST_HZ.get(name, OTHERS_HZ)
        channels[name] = {"unit": unit, "rate_hz": rate_hz}
        t_s, value = played.readings(name)
        if name == "scale":
            value = _never_empty(t_s, value, played.truth["containers"])
        else:
            grid_s = np.round(np.arange(0.01 * number, t_s[-1], 1.0 / rate_hz), 3)
            t_s, value = grid_s, np.round(np.interp(grid_s, t_s, value) + rng.normal(0.0, 0.05, len(grid_s)), 2)
        columns.append((t_s, np.full(len(t_s), number, np.uint8), value))
    t_s, number, value = (np.concatenate(parts) for parts in zip(*columns, strict=True))
    order = np.argsort(t_s, kind="stable")
    marks = [Mark(t_s, mark, detail) for t_s, mark, detail in played.marks]
    return Recording({**played.setup, "channels": channels}, Rows(t_s[order], number[order], value[order]), marks)


def _never_empty(t_s: np.ndarray, value: np.ndarray, stays: list[dict]) -> np.ndarray:
    """The first container stands there before it was placed, the last one after it was lifted."""
    before, after = t_s < stays[0]["on_t_s"] - 0.5, t_s > stays[-1]["off_t_s"] + 0.5
    return np.round(value + before * stays[0]["gross_on_g"] + after * stays[-1]["gross_off_g"], 1)


def report(hours: float = 3.0) -> list[str]:
    """Lines, every one measured in this run, in a folder that goes away with it."""
    with tempfile.TemporaryDirectory() as folder:
        recording = session(hours)
        write_recording(recording, Path(folder) / "session")
        write_recording(recording, Path(folder) / "session.zip")
        ours = [sys.executable, "-m", "logger.cli", "replay"]
        as_zip, as_folder = (_best([*ours, str(Path(folder) / name)]) for name in ("session.zip", "session"))
        plain = _best([sys.executable, "-c", PLAIN, str(Path(folder) / "session" / "readings.csv")])
        start = _best([*ours, "--help"])
    sizes = f"{len(recording.rows)} readings of {len(recording.channels)} channels"
    ratio = as_folder[1] / plain[1]
    return [
        f"{hours:g} h, {sizes}; best of {RUNS} runs, in brackets CPU",
        f"replayed and judged, from a zip     {_seconds(as_zip)}",
        f"replayed and judged, from a folder  {_seconds(as_folder)}",
        f"csv and float() of the same rows    {_seconds(plain)}; the whole replay takes {ratio:.1f} times the CPU",
        f"the command's own start             {_seconds(start)}",
    ]


def _best(command: list[str]) -> tuple[float, float]:
    """Least wall and CPU seconds of several runs: what the machine's other work adds is not the command's."""
    return tuple(min(column) for column in zip(*(_timed(command) for _ in range(RUNS)), strict=True))


def _timed(command: list[str]) -> tuple[float, float]:
    before, start = os.times(), time.perf_counter()
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
    after = os.times()
    cpu_s = after.children_user + after.children_system - before.children_user - before.children_system
    return time.perf_counter() - start, cpu_s


def _seconds(spent: tuple[float, float]) -> str:
    return f"{spent[0]:6.2f} s ({spent[1]:.2f} s)"


if __name__ == "__main__":
    print("\n".join(report(float(sys.argv[1]) if len(sys.argv) > 1 else 3.0)))
