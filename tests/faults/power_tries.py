"""Power loss with unsynced writes, tried on a real store."""

from __future__ import annotations

import random
import sys
from pathlib import Path

import numpy as np
from power_loss import Files, checkpoint, images

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "record"))

from store_making import CHANNELS, SETUP, look  # noqa: E402 - found by the line above

from logger.record.errors import StoreError  # noqa: E402 - as above
from logger.record.store import Store  # noqa: E402 - as above


def moments(folder: Path, seconds: int) -> list[Files]:
    """The files of a store after each acknowledged second, and about checkpoints."""
    path = folder / "tarebook.db"
    store = Store.open(path)
    session_id = store.create_session(SETUP, CHANNELS, None, {})
    seen = [Files.of(path, 0)]
    for second in range(seconds):
        store.append(session_id, look(second))
        store.commit()
        seen.append(Files.of(path, second + 1))
        if second % 5 == 4:
            checkpoint(path)
            seen.append(Files.of(path, second + 1))
    store.close()
    return seen


def try_all(folder: Path, seconds: int, each: int, seed: int = 1) -> tuple[int, list[str]]:
    """How many crash images were opened, and what was wrong with any."""
    tried, wrong = 0, []
    for way, files in images(moments(folder / "whole", seconds), each, random.Random(seed)):
        tried += 1
        path = folder / f"image-{tried}" / "tarebook.db"
        files.lay(path)
        wrong += [f"image {tried}, {way}: {fault}" for fault in _faults(path, files.kept)]
    return tried, wrong


def _faults(path: Path, kept: int) -> list[str]:
    try:
        store = Store.open(path)
    except StoreError as error:
        return [f"does not open: {error}"]
    try:
        return _compare(store, kept) if kept else []
    finally:
        store.close()
        for each in path.parent.iterdir():
            each.unlink()


def _compare(store: Store, kept: int) -> list[str]:
    """Every second acknowledged, bit for bit; a second that was on its way may be there or not, but whole."""
    rows = store.reader().recording(store.reader().sessions(1)[0]["session_id"]).rows
    edges = np.searchsorted(rows.t_s, np.arange(kept + 3))
    for second in range(kept + 2):
        part = rows[slice(edges[second], edges[second + 1])]
        if second >= kept and not len(part):
            continue
        for number, block in enumerate(look(second, CHANNELS)):
            lane = part[part.channel == number]
            if not np.array_equal(lane.value, block.value, equal_nan=True) or not np.array_equal(lane.t_s, block.t_s):
                return [f"second {second} of {kept} acknowledged is not as it was"]
    return []
