"""Keeping the scale honest on a running cart: emulated board, real store, the daemon's own alert."""

from __future__ import annotations

import json
import re
import threading

import numpy as np
import pytest
from bench_cart import SETUP, BenchCart, until

from firmware_bridge.clock import Clock
from logger import calibration_book as book
from logger.daemon import Daemon, _adopt_checks
from logger.recent_scale import RecentScale, UnrestingError
from logger.record.gists import session_gists
from logger.record.scale_checks import check_weights
from logger.session.shop_review import shop_review
from logger.shop_text import shop_as_text

SCALE = '[scale]\nclass = "III"\ne_g = 1\nmax_g = 20000'


class Platform:
    """`load_g` rests on it, `slope` is what the cell makes of a gram; noise of a fifth of a gram."""

    def __init__(self):
        self.load_g, self.slope, self.zero_g, self.moving = 0.0, 1.0, 0.0, False
        self._noise, self._step = np.random.default_rng(5), 0

    def __call__(self, field: str) -> int:
        self._step += 20 if self.moving else 0
        return round(200 * (self.zero_g + self.slope * self.load_g + self._step + self._noise.normal(0, 0.2)))


@pytest.fixture
def platform():
    return Platform()


@pytest.fixture
def start(tmp_path, platform):
    """start(more) → a daemon on a cart whose scale senses `platform`; ten times real speed."""
    bench = BenchCart(tmp_path / "cart", speed=10.0, rates_hz={"w": 10.0}, read_code=platform)
    daemons = []

    def make(more: str = SCALE) -> Daemon:
        for daemon in daemons:
            daemon.stop()
        daemons.append(Daemon(bench.cart(more=more), tmp_path / "data", clock=bench.clock))
        daemons[-1].start()
        return daemons[-1]

    yield make
    daemons[-1].stop()
    bench.stop()


def drifts(daemon: Daemon) -> list[dict]:
    return [alert for alert in daemon.port.now()["alerts"] if alert["code"] == "scale-drift"]


def weigh(daemon: Daemon, platform: Platform, mass_g: float) -> dict:
    platform.load_g = 0.0
    daemon.scale.weigh_empty()
    platform.load_g = mass_g
    return daemon.scale.check_weight(mass_g)


def test_a_check_weight_beyond_its_class_is_an_alert_until_one_passes(start, platform):
    daemon = start()
    platform.slope = 1.002
    found = weigh(daemon, platform, 2000.0)
    # class III, e = 1 g at 2000 e: ±1 e on verification, ±2 e in service (Directive 2014/31/EU, Annex I, table 3)
    assert (found["outcome"], found["limit_g"]) == ("fail", 2.0) and found["error_g"] == pytest.approx(4.0, abs=0.5)
    (alert,) = until(lambda: drifts(daemon))
    assert "calibrate before the next charge" in alert["message"]
    daemon.port.open_session(SETUP)
    until(lambda: drifts(daemon), 10)
    session_id = daemon.port.now()["session_id"]
    daemon = start()
    assert daemon.port.now()["session_id"] == session_id
    until(lambda: drifts(daemon))
    assert [c["outcome"] for c in daemon.scale.state()["checks"] if c["what"] == "check-weight"] == ["fail"]
    kept = daemon.port.store.session(session_id)["setup"]["scale_check"]
    assert kept["outcome"] == "fail" and kept["days_before"] == pytest.approx(0.0, abs=0.1)
    assert kept["off_g"] == pytest.approx(4.0, abs=0.5) and daemon.scale.state()["check"]["due"]
    assert daemon.port.findings()["scale_check"] == kept
    platform.slope = 1.0
    assert weigh(daemon, platform, 2000.0)["outcome"] == "pass"
    until(lambda: not drifts(daemon))
    told = shop_as_text(shop_review(session_gists(daemon.port.store), check_weights(daemon.port.store)))
    assert "2 kept" in told and "pass" in told


def test_an_empty_platform_that_does_not_come_back_is_an_alert(start, platform):
    daemon = start()
    daemon.scale.weigh_empty()
    until(lambda: daemon.port.now()["t_s"] > 3)
    assert not drifts(daemon)
    platform.zero_g = 3.0
    until(lambda: daemon.port.now()["channels"]["scale"]["value"] > 2)
    told = daemon.scale.weigh_empty()
    assert told["drift"]
    assert float(re.search(r"reads (\+[0-9.]+) g off", told["message"])[1]) == pytest.approx(3.0, abs=0.4)
    until(lambda: drifts(daemon))


def test_tare_changes_what_is_shown_and_not_what_is_kept(start, platform):
    daemon = start()
    platform.load_g = 5000.0
    until(lambda: daemon.port.now()["channels"].get("scale", {}).get("value") or 0.0 > 4900)
    assert daemon.scale.tare(True)["tare_g"] == pytest.approx(5000.0, abs=0.5)
    until(lambda: daemon.port.now()["scale"]["net_g"] == pytest.approx(0.0, abs=2.0))
    assert daemon.port.now()["channels"]["scale"]["value"] == pytest.approx(5000.0, abs=2.0)
    daemon = start()
    assert daemon.scale.state()["tare_g"] == pytest.approx(5000.0, abs=0.5)
    daemon.scale.tare(False)
    until(lambda: daemon.port.now()["scale"]["net_g"] is None)


def test_what_cannot_be_judged_is_refused_with_the_mend(start, platform):
    daemon = start()
    with pytest.raises(ValueError, match="weigh it empty first"):
        daemon.scale.check_weight(2000.0)
    platform.load_g = 9000.0
    until(lambda: daemon.port.now()["channels"].get("scale", {}).get("value") or 0.0 > 8000)
    with pytest.raises(ValueError, match="no empty platform"):
        daemon.scale.weigh_empty()
    daemon.port.open_session(SETUP)
    daemon.port.mark({"mark": "stage", "detail": {"stage": "charging"}})
    with pytest.raises(ValueError, match="charge is going on"):
        daemon.scale.weigh_empty()
    daemon.port.close_session()
    daemon = start(more="")
    with pytest.raises(ValueError, match=r"add \[scale\]"):
        daemon.scale.check_weight(2000.0)


def test_a_scale_that_moves_or_is_silent_gives_no_weight(start, platform):
    daemon = start()
    platform.moving = True
    until(lambda: daemon.port.now()["t_s"] > 3)
    with pytest.raises(UnrestingError, match="come to rest"):
        daemon.scale.tare(True)
    silent = RecentScale(Clock(100.0), threading.Event().wait)
    with pytest.raises(UnrestingError, match="no reading"):
        silent.rest()


def test_checks_kept_beside_the_cart_file_join_the_history_once(start, platform, tmp_path):
    daemon, cart_file = start(), tmp_path / "cart" / "cart.toml"
    entry = {"what": "check-weight", "channel": "scale", "nominal_g": 2000.0, "shown_g": 2009.0, "outcome": "fail"}
    book.note(cart_file, entry)
    for _ in range(2):
        _adopt_checks(daemon, cart_file)
    (kept,) = daemon.scale.state()["checks"]
    assert kept["shown_g"] == 2009.0 and daemon.scale.state()["drift"]
    with book.log_of(cart_file).open("a") as log:
        log.write(json.dumps({"what": "x"})[:5])
    _adopt_checks(daemon, cart_file)
    assert len(daemon.scale.state()["checks"]) == 1
