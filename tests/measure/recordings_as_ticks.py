"""Recordings as ticks, without the rest of the house: last and mean values of each second, stage and scale from the
files."""

from __future__ import annotations

import csv
import json
import pathlib
from collections.abc import Iterator

from logger.measure.ticks import ScaleView, Tick

STALE_S = 30.0


def marks(folder: pathlib.Path) -> list[tuple[float, str, dict]]:
    """Marks in order: time, mark, detail."""
    with open(folder / "marks.csv", encoding="utf-8", newline="") as file:
        return [(float(row["t_s"]), row["mark"], json.loads(row["detail"] or "{}")) for row in csv.DictReader(file)]


def ticks(folder: pathlib.Path, with_marks: bool = True) -> Iterator[Tick]:
    """One tick for every whole second, from the samples up to it."""
    pending = marks(folder) if with_marks else []
    state = {"stage": "", "on": None}
    last, at, second = {}, {}, {}
    k = 1
    with open(folder / "readings.csv", encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            t_s = float(row["t_s"])
            while t_s > k:
                pending = _told(pending, k, state)
                yield _tick(k, last, at, second, state)
                second = {}
                k += 1
            if row["value"]:
                last[row["channel"]], at[row["channel"]] = float(row["value"]), t_s
                second.setdefault(row["channel"], []).append(last[row["channel"]])


def _told(pending: list, k: int, state: dict) -> list:
    while pending and pending[0][0] <= k:
        _, mark, detail = pending.pop(0)
        if mark == "stage":
            state["stage"] = detail["stage"]
        elif mark == "compressor":
            state["on"] = detail["on"]
    return pending


def _tick(k: int, last: dict, at: dict, second: dict, state: dict) -> Tick:
    fresh = {name: value for name, value in last.items() if k - at[name] <= STALE_S}
    mean = {name: sum(values) / len(values) for name, values in second.items()}
    gross = mean.get("scale")
    return Tick(
        float(k), fresh, mean, state["stage"], ScaleView(gross_g=gross, present=(gross or 0.0) > 50.0), state["on"]
    )
