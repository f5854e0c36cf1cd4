"""Prints what was tried and what held; `--full` tries all of it, `--frames N` so many serial lines."""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

from fault_play import kept_and_judged_alike, play
from file_tries import KINDS, kills
from fuzzing import carts, frames, recordings
from host_cases import cases as host_cases
from host_cases import try_case
from power_tries import try_all
from sensor_cases import SCENES, Case, cases, what_failed

from logger.record.store import Store

FULL_FRAMES, SHORT_FRAMES = 1_000_000, 50_000
Line = tuple[str, int, list[str]]
"""What was tried, how often, what did not hold."""


def main(full: bool, frame_count: int) -> int:
    """Print the table; 1 when something did not hold that is not known to fall short."""
    broken = 0
    with tempfile.TemporaryDirectory() as folder:
        for what, tried, wrong in lines(Path(folder), full, frame_count):
            broken += len(wrong)
            print(
                f"{what:52} tried {tried:8,d}  {'held' if not wrong else 'NOT HELD: ' + '; '.join(wrong[:3])}",
                flush=True,
            )
    return int(broken > 0)


def lines(folder: Path, full: bool, frame_count: int) -> Iterator[Line]:
    """One after the other, as they come."""
    yield from _sensors(folder / "sensors", [case for case in cases() if full or not case.full_only])
    yield from _hosts(folder, full)
    yield (
        "power lost with writes unsynced: images of the store",
        *try_all(folder / "power", 40 if full else 11, 25 if full else 4),
    )
    for what in KINDS:
        yield f"killed while it keeps: {what}", *kills(what, folder / what, 250 if full else 6)
    yield "frames: lines sent, spoiled or whole", *frames(frame_count)
    yield "recordings spoiled", *recordings(50_000 if full else 1500)
    yield "cart files spoiled", *carts(folder, 30_000 if full else 1200)


def _sensors(folder: Path, some: list[Case]) -> Iterator[Line]:
    store = Store.open(folder / "tarebook.db")
    for case in some:
        played = play(SCENES[case.scene].scenario, case.fault)
        wrong = what_failed(case, played)
        lost = [] if kept_and_judged_alike(store, played, case.name) else ["the record differs"]
        if case.short and wrong:
            print(f"{case.name:52} falls short: {'; '.join(wrong)} ({case.short})", flush=True)
            wrong = []
        elif case.short:
            wrong = ["it holds by now: take `short` off this case"]
        yield case.name, 1, wrong + lost
    store.close()


def _hosts(folder: Path, full: bool) -> Iterator[Line]:
    for number, case in enumerate(case for case in host_cases() if full or not case.full_only):
        wrong, told_s = try_case(case, folder / f"host-{number}")
        yield case.name + (f" (told after {told_s:.1f} s)" if told_s else ""), 1, wrong


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--full", action="store_true")
    parser.add_argument("--frames", type=int)
    asked = parser.parse_args()
    sys.exit(main(asked.full, asked.frames or (FULL_FRAMES if asked.full else SHORT_FRAMES)))
