"""What a session takes from its cart: the technician's lag learned from earlier fills, the scale's own uncertainty."""

from __future__ import annotations

import json
import math

import pytest
from bench_cart import SETUP, BenchCart, until

from firmware_bridge.cart import load_cart
from logger.daemon import Daemon
from logger.learned_lag import learn, learned
from logger.record.importing import add_recording
from logger.record.store import Store
from logger.replay import replay
from logger.session_defaults import close_lag_s, filled_in

CART = """
[cart]
id = "cart-1"
[board]
port = "/dev/ttyACM0"
[technician]
close_lag_s = 1.2
[channel.scale]
source = "board"
field = "w"
unit = "g"
points = {points}
"""
TWO = "[[0, 0.0], [400000, 2000.0]]"
THREE = "[[0, 0.0], [400000, 2001.0], [1000000, 5000.0]]"
CHANNELS = {"scale": {"unit": "g", "rate_hz": 10.0, "points": None}}


@pytest.fixture
def cart(tmp_path):
    def make(points: str = TWO, more: str = ""):
        path = tmp_path / "cart.toml"
        path.write_text(CART.format(points=points) + more)
        return load_cart(path)

    return make


@pytest.fixture
def store(tmp_path):
    made = Store.open(tmp_path / "tarebook.db")
    yield made
    made.close()


def fill(store: Store, lag_s: float | None, **setup) -> str:
    session_id = store.create_session({"cart_id": "cart-1", "refrigerant": "R-134a", **setup}, CHANNELS, None, {})
    ended_s = None if lag_s is None else 100.0 + lag_s
    charge = {"stop_alert_t_s": 100.0, "flow_ended_t_s": ended_s, "delivered_g": 500.0}
    store.set_findings(session_id, {"session_id": session_id, "charge": charge})
    store.close_session(session_id)
    return session_id


def test_the_lag_is_learned_from_stops_that_were_obeyed(store, cart):
    for lag_s in (2.0, 2.2, 0.05, None, 90.0, 2.1, -4.0, 2.0):
        fill(store, lag_s)
        assert learn(store, "cart-1") is None, "four fills are too few"
    fill(store, 2.3)
    lag = learn(store, "cart-1")
    assert (lag.lag_s, lag.fills) == (pytest.approx(2.1), 5) and 0 < lag.spread_s < 0.3
    assert learned(store.reader(), "cart-1") == lag
    assert close_lag_s(cart(), lag) == pytest.approx(2.1)
    assert close_lag_s(cart(), None) == 1.2


def test_neither_another_cart_nor_a_valve_nor_an_import_teaches(store):
    for _ in range(6):
        fill(store, 3.0, cart_id="cart-2")
        fill(store, 0.4, close_lag_from="valve")
        last = fill(store, None)
    recording = store.reader().recording(last)
    for k in range(6):
        session = {**recording.session, "session_id": f"imported-{k}"}
        findings = {"charge": {"stop_alert_t_s": 0.0, "flow_ended_t_s": 5.0}}
        add_recording(store, type(recording)(session, recording.rows, recording.marks), findings)
    assert learn(store, "cart-1") is None


def test_a_valve_closes_by_its_own_lag_and_a_session_that_says_is_heeded(store, cart):
    for _ in range(5):
        fill(store, 2.0)
    lag = learn(store, "cart-1")
    assert filled_in({}, cart(more="[valve]\nclose_lag_s = 0.3"), lag)["close_lag_s"] == 0.3
    learned_setup = filled_in({}, cart(), lag)
    assert learned_setup["close_lag_s"] == 2.0 and learned_setup["close_lag_from"] == "earlier fills"
    assert filled_in({}, cart())["close_lag_from"] == "cart file"
    given = filled_in({"close_lag_s": 0.7}, cart(), lag)
    assert given["close_lag_s"] == 0.7 and "close_lag_from" not in given


def test_three_points_say_how_sure_the_slope_is_and_two_cannot(cart):
    assert "scale_slope_u_rel" not in filled_in({}, cart())
    share = filled_in({}, cart(THREE))["scale_slope_u_rel"]
    line = load_cart_line(cart(THREE))
    # Student's t for one degree of freedom, 95 % two-sided: 12.706 (any table); M3 masses: 5e-4 / sqrt 3
    assert share == pytest.approx(math.hypot(12.706 / 2 * line.u_slope / line.slope, 5e-4 / math.sqrt(3)))


def load_cart_line(cart):
    return cart.channels["scale"].calibration


def test_the_slopes_uncertainty_reaches_the_charge_and_is_replayed(tmp_path):
    bench = BenchCart(tmp_path / "cart", speed=10.0)
    path = bench.file()
    path.write_text(path.read_text().replace("[200000, 1000.0]]", "[200000, 1000.0], [1200000, 6003.0]]", 1))
    bench_cart = load_cart(path)
    daemon = Daemon(bench_cart, tmp_path / "data", clock=bench.clock, open_setup=SETUP)
    daemon.start()
    try:
        session_id = daemon.port.now()["session_id"]
        until(lambda: daemon.port.now()["t_s"] > 8)
        bench.flow_g_per_s = 8.0
        until(lambda: daemon.port.now()["charge"]["delivered_g"] > 100)
        bench.flow_g_per_s = 0.0
        until(lambda: abs(daemon.port.now()["charge"]["flow_g_per_s"]) < 0.1)
        live = daemon.port.close_session()
        share = filled_in({}, bench_cart)["scale_slope_u_rel"]
        (line,) = [line for line in live["charge"]["budget"] if line["name"] == "calibration"]
        assert line["u_g"] == pytest.approx(share * live["charge"]["delivered_g"], rel=0.02) and share != 1.2e-3
        again = replay(daemon.port.store.recording(session_id), {})
        assert json.dumps(again, sort_keys=True) == json.dumps(live, sort_keys=True)
    finally:
        daemon.stop()
        bench.stop()
