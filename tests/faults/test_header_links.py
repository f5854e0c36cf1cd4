"""Sensors on the Pi's header, their wires ill, through the real daemon: it is told within seconds, it heals by itself,
no reading is made up."""

from __future__ import annotations

import pytest
from bench_cart import until
from source_rigs import RIGS

from firmware_bridge.cart import load_cart
from logger.daemon import Daemon
from logger.measure.marks import Mark

SCALE = '[channel.scale]\nsource = "hx711"\nunit = "g"\nrate_hz = 80\ndout_pin = 5\nsck_pin = 6\n'
POINTS = "points = [[0, 0.0], [1000, 100.0]]\n"
CHANNELS = {
    "hx711": "",
    "ads1115": '[channel.low_side]\nsource = "ads1115"\nunit = "kPa"\nrate_hz = 20\ninput = "A0"\n' + POINTS,
    "onewire": '[channel.vent_temp]\nsource = "onewire"\nprobe = "28-000000000001"\n'
    '[channel.ambient_temp]\nsource = "onewire"\nprobe = "28-000000000002"\n',
}
SETUP = {"refrigerant": "R-134a", "placard": {"low_g": 285.0, "high_g": 315.0}, "target_g": 300.0}
TOLD_S = {"danger": 5.0, "caution": 12.0}
"""A probe gives a reading a second or fewer, and is given more time."""
TOLD_AS = ("sensor-stale", "sensor-fault")


@pytest.fixture(params=CHANNELS)
def wired(request, tmp_path, monkeypatch):
    """(rig, daemon) with a session open and the sensor well."""
    rig = RIGS[request.param](tmp_path)
    if "wire" in rig.parts:
        for name, value in rig.parts["wire"].environment.items():
            monkeypatch.setenv(name, value)
    file = tmp_path / "cart.toml"
    file.write_text('[cart]\nid = "header"\n' + SCALE + POINTS + CHANNELS[request.param])
    daemon = Daemon(load_cart(file), tmp_path / "data", clock=rig.clock, open_setup=SETUP, sources=[rig.source])
    daemon.start()
    until(lambda: daemon.port.now()["channels"][rig.channel]["quality"] == "good")
    yield rig, daemon
    daemon.stop()
    rig.source.close()
    rig.end()


@pytest.mark.parametrize("ill", ["kill", "spoil"])
def test_it_is_told_and_heals_and_no_reading_is_made_up(wired, ill):
    rig, daemon = wired
    began_s = daemon.port.now()["t_s"]
    getattr(rig, ill)()
    alert = until(lambda: standing(rig, daemon))[0]
    assert alert["severity"] == ("danger" if rig.channel == "scale" else "caution")
    assert alert["t_s"] - began_s <= TOLD_S[alert["severity"]]
    rig.revive()
    rig.say(1000)
    until(lambda: daemon.port.now()["channels"][rig.channel]["quality"] == "good")
    until(lambda: not standing(rig, daemon))
    assert set(kept_values(rig, daemon)) == {100.0}


def standing(rig, daemon) -> list[dict]:
    alerts = daemon.port.now()["alerts"]
    return [alert for alert in alerts if alert["code"] in TOLD_AS and alert["subject"] == rig.channel]


def kept_values(rig, daemon) -> list[float]:
    """Of the channel; an invalid reading has none."""
    daemon.port._recorder.flush()
    items = daemon.port.store.batches(daemon.port.now()["session_id"])
    blocks = [block for item in items if not isinstance(item, Mark) for block in item]
    values = [value for b in blocks if b.channel == rig.channel for value in b.value.tolist()]
    return [round(value, 6) for value in values if value == value]
