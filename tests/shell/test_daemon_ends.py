"""How a logger ends: on a signal, in good order; by a kill, so that the next one goes on; without its broker, losing no
alert."""

from __future__ import annotations

import argparse
import json
import signal
import sqlite3

import numpy as np
import pytest
from bench_cart import SETUP, BenchCart, LoggerProcess, until
from listener import Listener

from logger.daemon import run_daemon
from logger.measure.marks import Mark
from logger.paths import store_path
from logger.record.reader import StoreReader


@pytest.fixture
def bench(tmp_path):
    cart = BenchCart(tmp_path / "cart")
    yield cart
    cart.stop()


@pytest.fixture
def logger_on(tmp_path):
    processes = []

    def make(*args):
        processes.append(LoggerProcess(*args))
        return processes[-1]

    yield make
    for process in processes:
        process.close()


@pytest.fixture
def setup_file(tmp_path):
    file = tmp_path / "session.json"
    file.write_text(json.dumps(SETUP))
    return str(file)


@pytest.fixture
def listener(mosquitto):
    heard = Listener(mosquitto.port)
    yield heard
    heard.close()


def kept(data, session_id="bench-00001"):
    """(times, values) of the scale as the record has them now."""
    reader = StoreReader(store_path(data))
    items = [item for item in reader.batches(session_id) if not isinstance(item, Mark)]
    blocks = [b for item in items for b in item if b.channel == "scale"]
    if not blocks:
        return np.empty(0), np.empty(0)
    return np.concatenate([b.t_s for b in blocks]), np.concatenate([b.value for b in blocks])


def readings(data):
    return len(kept(data)[0]) if store_path(data).exists() else 0


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_a_signal_ends_it_in_good_order(bench, logger_on, setup_file, mosquitto, listener, tmp_path, number):
    data = tmp_path / "data"
    process = logger_on(bench.file(mosquitto.port), data, setup_file)
    assert "http://127.0.0.1" in process.wait_for("Page")
    assert listener.wait_payloads("/status", lambda said: said == ["online"])
    assert listener.wait_payloads("/now", lambda said: said and json.loads(said[-1])["session_id"] == "bench-00001")
    until(lambda: readings(data))
    assert process.end(number) == 0
    assert listener.wait_payloads("/status", lambda said: said == ["online", "offline"])
    assert not any("Traceback" in line for line in process.lines)
    assert len(kept(data)[0]) > 0
    assert StoreReader(store_path(data)).sessions()[0]["open"]
    assert sqlite3.connect(store_path(data)).execute("PRAGMA quick_check").fetchone() == ("ok",)


def test_after_a_kill_the_session_goes_on_and_the_charge_is_right(bench, logger_on, setup_file, tmp_path):
    data, cart_file = tmp_path / "data", bench.file()
    first = logger_on(cart_file, data, setup_file)
    first.wait_for("Page")
    until(lambda: store_path(data).exists() and readings(data) > 20)
    bench.flow_g_per_s = 5.0
    until(lambda: bench.drawn_g > 10)
    before_s = kept(data)[0][-1]
    first.end(signal.SIGKILL)
    lost_from_s, _ = kept(data)
    second = logger_on(cart_file, data, setup_file)
    assert "goes on" in second.wait_for("bench-00001")
    until(lambda: kept(data)[0][-1] > lost_from_s[-1] + 2)
    bench.flow_g_per_s = 0.0
    resting_from = readings(data)
    until(lambda: readings(data) > resting_from + 25)
    second.end(signal.SIGTERM)
    t_s, value = kept(data)
    assert lost_from_s[-1] >= before_s and np.all(np.diff(t_s) >= 0)
    assert 5000.0 - value[-1] == pytest.approx(bench.drawn_g, abs=0.1)
    drawn_while_away = np.interp([lost_from_s[-1], t_s[len(lost_from_s)]], t_s, value)
    away_s = t_s[len(lost_from_s)] - lost_from_s[-1]
    assert drawn_while_away[0] - drawn_while_away[1] == pytest.approx(5.0 * away_s, abs=2.0)
    reader = StoreReader(store_path(data))
    assert [s["session_id"] for s in reader.sessions()] == ["bench-00001"]
    notes = [mark.detail["text"] for mark in reader.marks("bench-00001") if mark.mark == "note"]
    assert len(notes) == 1 and "readings are missing for" in notes[0]


def test_alerts_reach_the_broker_once_though_it_was_away_and_the_logger_killed(
    bench, logger_on, setup_file, mosquitto, listener, tmp_path
):
    data, cart_file = tmp_path / "data", bench.file(mosquitto.port)
    first = logger_on(cart_file, data, setup_file)
    first.wait_for("Page")
    until(lambda: store_path(data).exists() and readings(data) > 5)
    assert listener.wait_payloads("/status", lambda said: said == ["online"])
    mosquitto.stop()
    reader = StoreReader(store_path(data))
    bench.board.unplug()
    until(lambda: len(reader.alerts("bench-00001")) >= 2)
    first.end(signal.SIGKILL)
    bench.board.replug()
    second = logger_on(cart_file, data)
    second.wait_for("Page")
    mosquitto.start()
    wanted = {alert["seq"] for alert in reader.alerts("bench-00001")}
    assert listener.wait_payloads("/alert", lambda said: {json.loads(a)["seq"] for a in said} >= wanted)
    until(lambda: not reader.rows("SELECT * FROM outbox"))
    second.end(signal.SIGTERM)
    heard = [(json.loads(a)["session_id"], json.loads(a)["seq"]) for a in listener.payloads("/alert")]
    assert len(heard) == len(set(heard))
    assert {seq for _, seq in heard} == {alert["seq"] for alert in reader.alerts("bench-00001")}


@pytest.mark.parametrize(
    ("open_with", "mend"),
    [("[]", "JSON object"), ("{", "no session"), ('{"placard": {"low_g": 5}}', "placard")],
)
def test_a_session_file_that_cannot_be_used_is_one_line(bench, tmp_path, open_with, mend):
    file = tmp_path / "session.json"
    file.write_text(open_with)
    args = argparse.Namespace(cart=bench.file(), data=tmp_path / "data", http="127.0.0.1:0", open=str(file))
    kept_handlers = [signal.getsignal(number) for number in (signal.SIGTERM, signal.SIGINT)]
    try:
        with pytest.raises(ValueError, match=mend) as error:
            run_daemon(args)
    finally:
        for number, handler in zip((signal.SIGTERM, signal.SIGINT), kept_handlers, strict=True):
            signal.signal(number, handler)
    assert "\n" not in str(error.value)
