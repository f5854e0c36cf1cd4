"""The daemon on an emulated board, a real store and a real broker: who is slow, gone or dead harms nobody else."""

from __future__ import annotations

import itertools
import json
import urllib.request

import numpy as np
import pytest
from bench_cart import SETUP, BenchCart, until

from firmware_bridge.cart import load_cart
from logger.daemon import Daemon
from logger.engine import EngineEnded
from logger.measure.marks import Mark
from logger.paths import store_path
from logger.port import NoSessionError
from logger.record.store import Store, StoreError
from logger.replay import replay


@pytest.fixture
def bench(tmp_path):
    carts = []

    def make(**kwargs):
        carts.append(BenchCart(tmp_path / f"cart-{len(carts)}", **kwargs))
        return carts[-1]

    yield make
    for cart in carts:
        cart.stop()


@pytest.fixture
def run(tmp_path):
    daemons = []

    def make(bench, cart=None, data="data", **kwargs):
        daemons.append(Daemon(cart or bench.cart(), tmp_path / data, clock=bench.clock, **kwargs))
        daemons[-1].start()
        return daemons[-1]

    yield make
    for daemon in daemons:
        daemon.stop()


def codes(port, session_id, channel):
    blocks = [b for item in port.store.batches(session_id) if not isinstance(item, Mark) for b in item]
    return np.concatenate([b.code for b in blocks if b.channel == channel])


def test_a_viewer_that_sleeps_loses_snapshots_and_the_record_loses_nothing(bench, run):
    """The board counts its conversions; the record must have every one of them."""
    count = itertools.count(1_000_000)
    cart = bench(rates_hz={"w": 80.0}, read_code=lambda field: next(count))
    daemon = run(cart, cart.cart(scale_hz=80), open_setup=SETUP)
    sleeper = daemon.port.feed.subscribe(size=2)
    session_id = daemon.port.now()["session_id"]
    until(lambda: sleeper.dropped_snapshots > 10)
    daemon.port.close_session()
    kept = codes(daemon.port, session_id, "scale")
    assert len(kept) > 80
    assert np.array_equal(kept, np.arange(kept[0], kept[0] + len(kept)))
    assert len(sleeper.snapshots) == 2


def test_what_was_said_live_is_what_a_replay_says(bench, run):
    cart = bench(speed=10.0)
    daemon = run(cart, open_setup=SETUP)
    session_id = daemon.port.now()["session_id"]
    until(lambda: daemon.port.now()["t_s"] > 8)
    daemon.port.mark({"mark": "stage", "detail": {"stage": "charging"}})
    cart.flow_g_per_s = 6.0
    until(lambda: daemon.port.now()["charge"]["delivered_g"] > 120)
    daemon.port.mark({"mark": "compressor", "detail": {"on": True}})
    cart.flow_g_per_s = 0.0
    until(lambda: abs(daemon.port.now()["charge"]["flow_g_per_s"]) < 0.1)
    live = daemon.port.close_session()
    assert live["charge"]["delivered_g"] == pytest.approx(cart.drawn_g, abs=2.0)
    again = replay(daemon.port.store.recording(session_id), {})
    assert json.dumps(again, sort_keys=True) == json.dumps(live, sort_keys=True)
    assert daemon.port.store.findings(session_id) == live
    assert not daemon.port.store.session(session_id)["open"]


def test_an_unplugged_board_is_named_opened_again_and_its_alerts_are_kept(bench, run):
    cart = bench(speed=5.0)
    daemon = run(cart, open_setup=SETUP)
    viewer = daemon.port.feed.subscribe()
    until(lambda: daemon.port.now()["channels"]["scale"]["quality"] == "good")
    cart.board.unplug()
    until(lambda: daemon.port.now()["channels"]["scale"]["quality"] == "stale")
    until(lambda: any(alert["code"] == "sensor-stale" for alert in daemon.port.now()["alerts"]))
    now = daemon.port.now()
    assert str(cart.board.port) in now["links"]["board"] and now["channels"]["scale"]["why"]
    cart.board.replug()
    until(lambda: daemon.port.now()["channels"]["scale"]["quality"] == "good")
    until(lambda: daemon.port.now()["links"]["board"] == "ok")
    told = [item.data for item in iter(lambda: viewer.get(0), None) if item.kind == "alert"]
    session_id = daemon.port.now()["session_id"]
    raised = {alert["seq"] for alert in told if alert["state"] == "raised"}
    assert raised
    until(lambda: raised <= {alert["seq"] for alert in daemon.port.store.alerts(session_id)})


def test_orders_that_make_no_sense_are_refused_in_one_line(bench, run):
    cart = bench()
    port = run(cart).port
    with pytest.raises(NoSessionError):
        port.mark({"mark": "note", "detail": {"text": "x"}})
    with pytest.raises(NoSessionError):
        port.ack("stop-charging")
    with pytest.raises(ValueError, match="valve"):
        port.order_valve(True)
    with pytest.raises(ValueError, match="target_g"):
        port.open_session({**SETUP, "target_g": -1})
    assert port.close_session() is None and port.findings() is None
    first = port.open_session(SETUP)
    with pytest.raises(StoreError, match=first):
        port.open_session(SETUP)
    for bad in ({"mark": "nonsense"}, {"mark": "stage", "detail": {"stage": "lunch"}}):
        with pytest.raises(ValueError, match="none of"):
            port.mark(bad)
    assert port.findings()["session_id"] == first == port.now()["session_id"]


def test_the_stage_closed_ends_the_session_and_the_next_can_begin(bench, run):
    cart = bench()
    port = run(cart, open_setup=SETUP).port
    viewer = port.feed.subscribe()
    first = port.now()["session_id"]
    port.mark({"mark": "stage", "detail": {"stage": "closed"}})
    assert port.now()["session_id"] is None
    told = [item.data for item in iter(lambda: viewer.get(0), None) if item.kind == "session"]
    assert told == [{"session_id": first, "open": False, "t_utc": told[0]["t_utc"]}]
    assert port.open_session(SETUP) != first
    assert [s["open"] for s in port.store.sessions()] == [True, False]


def test_too_little_room_is_an_alert(bench, run):
    cart = bench()
    daemon = run(cart, cart.cart(more="[limits]\nstorage_free_mb = 1e9"))
    alert = until(lambda: daemon.port.now()["alerts"])[0]
    assert alert["code"] == "storage-low" and alert["severity"] == "caution"


def test_the_pages_are_served_and_end_with_the_daemon(bench, run):
    daemon = run(bench(), http="127.0.0.1:0")
    with urllib.request.urlopen(daemon.url + "api/now", timeout=20) as answer:
        now = json.load(answer)
    assert now["session_id"] is None and now["clock_trusted"] in (True, False) and now["t_utc"].endswith("Z")
    stream = urllib.request.urlopen(daemon.url + "api/feed", timeout=20)
    assert stream.readline().startswith(b"retry")
    daemon.stop()
    stream.read()


def test_the_valve_opens_on_an_order_and_lands_the_fill(bench, run):
    """The flow goes on for the valve's own lag after the board has closed it."""
    cart = bench()
    closed_s = [0.0]

    def flowing():
        if cart.board.valve_open:
            closed_s[0] = cart.clock.now()
        return cart.clock.now() - closed_s[0] < 0.4

    cart.flowing, cart.flow_g_per_s = flowing, 10.0
    daemon = run(cart, cart.cart(more="[valve]\nclose_lag_s = 0.4"), open_setup={**SETUP, "target_g": 60.0})
    until(lambda: daemon.port.now()["t_s"] > 4)
    assert not daemon.port.order_valve(True)["open"]
    daemon.port.mark({"mark": "stage", "detail": {"stage": "charging"}})
    until(lambda: daemon.port.order_valve(True)["open"])
    until(lambda: cart.board.valve_open)
    until(lambda: daemon.port.now()["charge"]["delivered_g"] > 40)
    until(lambda: not cart.board.valve_open)
    drawn = until(lambda: cart.drawn_g if not flowing() else None)
    assert drawn == pytest.approx(60.0, abs=3.0)
    assert not daemon.port.now()["valve"]["open"] and daemon.port.now()["valve"]["why"]


def test_one_writer_only(bench, run, tmp_path):
    cart = bench()
    run(cart)
    with pytest.raises(StoreError):
        Daemon(cart.cart(), tmp_path / "data", clock=cart.clock)


def test_a_session_begun_with_another_calibration_is_judged_and_closed(bench, run):
    cart = bench()
    first = run(cart, open_setup=SETUP)
    session_id = first.port.now()["session_id"]
    until(lambda: first.port.now()["t_s"] > 2)
    first.stop()
    file = cart.file()
    file.write_text(file.read_text().replace("1000.0]]", "1001.0]]"))
    second = run(cart, load_cart(file))
    assert second.port.now()["session_id"] is None
    assert not second.port.store.session(session_id)["open"]
    assert second.port.store.findings(session_id)["duration_s"] > 1


def test_a_stopped_daemon_is_gone_on_with_by_the_next(bench, run):
    cart = bench()
    first = run(cart, open_setup=SETUP)
    session_id = first.port.now()["session_id"]
    until(lambda: first.port.now()["channels"]["scale"]["quality"] == "good")
    first.stop()
    with pytest.raises(EngineEnded):
        first.port.close_session()
    second = run(cart, open_setup={**SETUP, "refrigerant": "R-1234yf"})
    assert second.port.now()["session_id"] == session_id
    assert second.port.now()["refrigerant"] == "R-134a"
    until(lambda: second.port.now()["channels"]["scale"]["quality"] == "good")
    assert second.port.close_session()["session_id"] == session_id


def test_lost_power_is_an_alert_until_a_person_has_seen_it(bench, run, tmp_path):
    """The record is made to say that the session began under another start of the machine."""
    cart = bench()
    first = run(cart, open_setup=SETUP)
    session_id = first.port.now()["session_id"]
    until(lambda: first.port.now()["t_s"] > 1)
    first.stop()
    store = Store.open(store_path(tmp_path / "data"))
    store.set_clock(session_id, None, {"boot_id": "another", "monotonic_s": 0.0, "speed": 1.0})
    store.close()
    second = run(cart)
    (alert,) = [a for a in second.port.now()["alerts"] if a["code"] == "power-was-lost"]
    assert "not known" in alert["message"] and second.port.now()["session_id"] == session_id
    second.stop()
    third = run(cart)
    assert [a["seq"] for a in third.port.now()["alerts"] if a["code"] == "power-was-lost"] == [alert["seq"]]
    third.port.ack("power-was-lost")
    assert not [a for a in third.port.now()["alerts"] if a["code"] == "power-was-lost"]
    findings = third.port.close_session()
    assert [a["code"] for a in findings["alerts"]].count("power-was-lost") == 1
