"""The small files and the rest of the record under kills and under losses of unsynced writes."""

from __future__ import annotations

import os
import random
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from firmware_bridge.cart import load_cart
from logger import calibration_book as book
from logger.paired_devices import PairedDevices
from logger.record.opening import check
from logger.record.store import Store

CHILD = Path(__file__).with_name("files_until_killed.py")
KINDS = ("pairing", "cart", "checks", "record")


def kills(what: str, folder: Path, count: int, seed: int = 1) -> tuple[int, list[str]]:
    """Kill the process that keeps such things so often; how often, and what was lost or could not be read."""
    chance, wrong, number = random.Random(seed), [], 0
    folder.mkdir(parents=True, exist_ok=True)
    for turn in range(count):
        kept = _keep_and_kill(what, folder, number, chance.uniform(0.0, 0.15))
        number = max([number, *(each + 2 for each in kept)])  # the one after the last is half done
        try:
            missing = sorted(set(kept) - READ[what](folder))
        except Exception as error:  # the very thing that is looked for
            return turn + 1, [f"{what} after kill {turn + 1}: {type(error).__name__}: {error}"]
        wrong += [f"{what} after kill {turn + 1}: lost {missing}"] if missing else []
    return count, wrong + ([] if number > count // 4 else [f"{what}: only {number} kept, the kills came too soon"])


def _keep_and_kill(what: str, folder: Path, number: int, after_s: float) -> list[int]:
    command = [sys.executable, str(CHILD), what, str(folder), str(number)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        process.stdout.readline()
        time.sleep(after_s)
        process.kill()
        return [int(line) for line in process.stdout.read().split("\n")[:-1]]


def _phones(folder: Path) -> set[int]:
    return {int(each["name"].split()[1]) for each in PairedDevices(folder / "paired.json").read().values()}


def _points(folder: Path) -> set[int]:
    """The cart file holds the last points alone; those before were there."""
    if not (folder / "cart.toml").exists():
        return set()
    return set(range(int(load_cart(folder / "cart.toml").channels["scale"].points[1][1] - 2000.0) + 1))


def _checks(folder: Path) -> set[int]:
    return {int(each["nominal_g"]) for each in book.noted(folder / "cart.toml", "check-weight", "scale")}


def _record(folder: Path) -> set[int]:
    """Numbers of which all is there: marked, photographed, signed, and the container beside it."""
    path = folder / "tarebook.db"
    if not path.exists():
        return set()
    check(path)
    store = Store.open(path)
    reader = store.reader()
    labels = {each["label"] for each in reader.rows("SELECT label FROM container")}
    whole = {
        int(each["session_id"][2:])
        for each in reader.sessions()
        if each["decision"] == "signed" and reader.session(each["session_id"])["attachments"]
        if reader.marks(each["session_id"])
    }
    store.close()
    return {number for number in whole if f"c-{number}" in labels}


READ: dict[str, Callable[[Path], set[int]]] = {
    "pairing": _phones,
    "cart": _points,
    "checks": _checks,
    "record": _record,
}


class Card:
    """What of a folder a loss of power leaves at the worst: names as of the folder's last sync, each with what its file
    held at its own last sync."""

    def __init__(self, folder: Path):
        self._folder, self._synced = folder, {}
        self._names = {each.name: each.stat().st_ino for each in folder.iterdir()}
        self._synced = {each.stat().st_ino: each.read_bytes() for each in folder.iterdir()}
        self.images = [self.image()]

    def image(self) -> dict[str, bytes]:
        return {name: self._synced.get(inode, b"") for name, inode in self._names.items()}

    def synced(self, descriptor: int) -> None:
        path = Path(os.readlink(f"/proc/self/fd/{descriptor}"))
        if path == self._folder:
            self._names = {each.name: each.stat().st_ino for each in path.iterdir()}
        else:
            self._synced[path.stat().st_ino] = path.read_bytes()
        self.images.append(self.image())

    def moved(self) -> None:
        """A new name may come to the card before the folder is synced, or not: both are images."""
        names = {each.name: each.stat().st_ino for each in self._folder.iterdir()}
        self.images.append({name: self._synced.get(inode, b"") for name, inode in names.items()})


@contextmanager
def card(folder: Path) -> Iterator[Card]:
    """Watches what this process syncs and moves in the folder."""
    watched, fsync, replace = Card(folder), os.fsync, os.replace

    def fsync_and_tell(descriptor) -> None:
        fsync(descriptor)
        watched.synced(descriptor if isinstance(descriptor, int) else descriptor.fileno())

    def replace_and_tell(old, new) -> None:
        replace(old, new)
        watched.moved()

    os.fsync, os.replace = fsync_and_tell, replace_and_tell
    try:
        yield watched
    finally:
        os.fsync, os.replace = fsync, replace
