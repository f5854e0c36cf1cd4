"""The record is copied while it is written, checked at every start, and let go of only where someone has signed."""

from __future__ import annotations

import shutil
import sqlite3
from datetime import UTC, datetime

import pytest
from bench_cart import SETUP, BenchCart, until

from firmware_bridge.cart import CartError
from logger.cli import main
from logger.daemon import Daemon
from logger.paths import store_path
from logger.record.decisions import decide
from logger.record.reader import StoreReader
from logger.record.store import Store
from logger.retention import PERIOD_S, Retention

NOW = datetime(2026, 7, 1, tzinfo=UTC)
CHANNELS = {"scale": {"unit": "g", "rate_hz": 10.0}}


@pytest.fixture
def data(tmp_path):
    """A folder with two old sessions, the second signed off."""
    store = Store.open(store_path(tmp_path / "data"))
    for session_id in ("unreviewed", "signed"):
        store.create_session({**SETUP, "session_id": session_id}, CHANNELS, "2020-01-01T08:00:00Z", {})
        store.close_session(session_id)
    decide(store, "signed", "signed", "R. Two")
    store.close()
    return tmp_path / "data"


def sessions(path) -> list[str]:
    return [row["session_id"] for row in StoreReader(path).sessions()]


def test_only_signed_sessions_are_let_go_of(data, capsys):
    assert main(["sessions", "--prune", "100", "--data", str(data)]) == 0
    assert capsys.readouterr().out == "signed: let go of\n"
    assert main(["sessions", "--prune", "100", "--data", str(data)]) == 0
    assert capsys.readouterr().out == "Nothing to let go of.\n"
    assert sessions(store_path(data)) == ["unreviewed"]


@pytest.mark.parametrize("days", ["0", "-5", "nan", "inf"])
def test_days_that_are_none_are_refused(days, data, capsys):
    assert main(["sessions", f"--prune={days}", "--data", str(data)]) == 2
    assert "keep at least one day" in capsys.readouterr().err
    assert len(sessions(store_path(data))) == 2


def test_the_running_logger_lets_go_once_a_day_and_never_beside_an_open_session(data):
    store = Store.open(store_path(data))
    open_id = store.create_session(SETUP, CHANNELS, None, {})
    keeping = Retention(store, 100.0)
    assert keeping.look(0.0, NOW) == []
    store.close_session(open_id)
    assert Retention(store, None).look(1.0, NOW) == []
    assert keeping.look(1.0, NOW) == ["signed"]
    decide(store, "unreviewed", "signed", "R. Two")
    assert keeping.look(PERIOD_S, NOW) == []
    assert keeping.look(PERIOD_S + 2.0, NOW) == ["unreviewed"]
    store.close()


def test_a_backup_beside_a_running_logger_is_a_whole_record(tmp_path, capsys):
    cart = BenchCart(tmp_path / "cart", speed=10.0)
    daemon = Daemon(cart.cart(more="[limits]\nkeep_signed_days = 400"), tmp_path / "data", clock=cart.clock)
    try:
        assert "begun anew" in daemon.record_found
        daemon.start()
        session_id = daemon.port.open_session(SETUP)
        until(lambda: daemon.port.store.session(session_id)["duration_s"] > 3)
        copy = tmp_path / "copy.db"
        assert main(["backup", str(copy), "--data", str(tmp_path / "data")]) == 0
        assert "1 session," in capsys.readouterr().out
        assert main(["sessions", "--prune", "1", "--data", str(tmp_path / "data")]) == 2
        assert "keep_signed_days" in capsys.readouterr().err
    finally:
        daemon.stop()
        cart.stop()
    assert len(StoreReader(copy).recording(session_id).rows) > 0
    (tmp_path / "again").mkdir()
    shutil.copy(copy, store_path(tmp_path / "again"))
    store = Store.open(store_path(tmp_path / "again"))
    assert (store.open_session_id(), store.found) == (session_id, "found sound")
    store.close()


def test_a_backup_overwrites_neither_the_record_nor_a_folder(data, tmp_path, capsys):
    for target in (store_path(data), tmp_path):
        assert main(["backup", str(target), "--data", str(data)]) == 2
        assert len(capsys.readouterr().err.splitlines()) == 1
    assert main(["backup", str(tmp_path / "x.db"), "--data", str(tmp_path / "nowhere")]) == 2
    assert "there is no store yet" in capsys.readouterr().err
    assert len(sessions(store_path(data))) == 2


def test_a_damaged_record_is_told_at_the_start(data, capsys):
    path = store_path(data)
    with sqlite3.connect(path) as connection:
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    raw = bytearray(path.read_bytes())
    raw[4096:12288] = b"\xff" * 8192
    path.write_bytes(raw)
    assert main(["sessions", "--prune", "100", "--data", str(data)]) == 2
    (line,) = capsys.readouterr().err.splitlines()
    assert str(path) in line and "restore the last backup" in line


def test_less_than_a_day_is_no_retention(tmp_path):
    cart = BenchCart(tmp_path / "cart")
    try:
        with pytest.raises(CartError, match="keep_signed_days"):
            cart.cart(more="[limits]\nkeep_signed_days = 0")
    finally:
        cart.stop()
