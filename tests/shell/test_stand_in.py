"""The logger started on a card that is full or read-only: it goes on in memory, says so, and still says stop."""

from __future__ import annotations

import os
import shutil
import subprocess
from pathlib import Path

import pytest
from bench_cart import SETUP, BenchCart, until

from logger import stand_in
from logger.daemon import Daemon
from logger.pairing import PAIRING_FILE
from logger.paths import store_path
from logger.record.store import Store, StoreError


@pytest.fixture
def card(tmp_path):
    """A card of one megabyte, mounted: a real file system that can be filled or made read-only."""
    place = tmp_path / "card"
    place.mkdir()
    command = ["mount", "-t", "tmpfs", "-o", "size=1m", "card", str(place)]
    if os.geteuid() or subprocess.run(command, capture_output=True).returncode:
        pytest.skip("no file system can be mounted here: needs root")
    yield place
    subprocess.run(["umount", "-l", str(place)], check=True)


@pytest.fixture
def memory(tmp_path, monkeypatch):
    """Where the record goes instead."""
    place = tmp_path / "memory"
    place.mkdir()
    monkeypatch.setattr(stand_in, "MEMORY", place)
    return place


@pytest.fixture
def cart(tmp_path):
    made = BenchCart(tmp_path / "cart", speed=10.0)
    yield made
    made.stop()


def fill_up(card: Path) -> None:
    with (card / "rest").open("wb", buffering=0) as file, pytest.raises(OSError):
        while True:
            file.write(bytes(4096))


def make_read_only(card: Path) -> None:
    Store.open(store_path(card)).close()
    (card / PAIRING_FILE).write_text("{}")
    subprocess.run(["mount", "-o", "remount,ro", str(card)], check=True)


@pytest.mark.parametrize("spoil", [fill_up, make_read_only])
def test_a_fill_on_a_card_that_takes_nothing_is_stopped_and_kept_in_memory(card, memory, cart, spoil):
    spoil(card)
    daemon = Daemon(cart.cart(), card, clock=cart.clock)
    daemon.start()
    try:
        port = daemon.port
        told = until(lambda: [alert for alert in port.now()["alerts"] if "kept in memory" in alert["message"]])
        assert (told[0]["code"], told[0]["severity"]) == ("storage-low", "danger")
        port.open_session(SETUP)
        until(lambda: port.now()["charge"]["container_gross_g"])
        until(lambda: port.now()["t_s"] > 8)
        port.mark({"mark": "stage", "detail": {"stage": "charging"}})
        cart.flow_g_per_s = 6.0
        until(lambda: "stop-charging" in {alert["code"] for alert in port.now()["alerts"]}, 60)
        assert cart.drawn_g == pytest.approx(SETUP["target_g"], abs=30.0)
        cart.flow_g_per_s = 0.0
        assert port.close_session()["session_id"] in {row["session_id"] for row in port.store.sessions()}
    finally:
        daemon.stop()
    (folder,) = memory.iterdir()
    assert folder.stat().st_mode & 0o077 == 0 and store_path(folder).exists()
    assert (folder / PAIRING_FILE).exists() == (spoil is make_read_only)


def test_the_record_in_memory_goes_on_after_a_restart_and_the_card_is_used_once_it_takes_again(card, memory):
    fill_up(card)
    for _ in range(2):
        opened = stand_in.open_record(card)
        opened.store.close()
        assert opened.why == "No space left on device" and opened.condition()[1].active
    assert len(list(memory.iterdir())) == 1
    (card / "rest").unlink()
    opened = stand_in.open_record(card)
    opened.store.close()
    assert (opened.folder, opened.why, opened.condition()[1].active) == (card, "", False)


def test_a_folder_of_somebody_else_in_memory_is_not_used(card, memory):
    fill_up(card)
    first = stand_in.open_record(card)
    first.store.close()
    shutil.rmtree(first.folder)
    first.folder.symlink_to(card)
    second = stand_in.open_record(card)
    second.store.close()
    assert second.folder != first.folder and not second.folder.is_symlink()


def test_a_damaged_store_is_still_refused(tmp_path, memory):
    store_path(tmp_path).write_bytes(b"hello " * 1000)
    with pytest.raises(StoreError, match="restore the last backup"):
        stand_in.open_record(tmp_path)
    assert not list(memory.iterdir())
