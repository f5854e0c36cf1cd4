"""The virtual cart at the wire, read by the production board driver through its own cart file."""

from __future__ import annotations

import time
from dataclasses import replace

import pytest

from firmware_bridge.board import BoardSource
from firmware_bridge.cart import load_cart
from firmware_bridge.clock import Clock
from firmware_bridge.virtual.cart import WIRES, VirtualCart
from firmware_bridge.virtual.scenario import random_fill
from firmware_bridge.virtual.setting import Step

SPEED = 12.0
PATIENCE_REAL_S = 30.0


@pytest.fixture
def cart(tmp_path):
    scenario = random_fill(3, "fast_liquid")
    (charge,) = [step for step in scenario.steps if step.kind == "charge"]
    charge = replace(charge, settle_s=6.0, purge=False)
    scenario = replace(
        scenario,
        steps=(charge, Step("close", seconds=2.0)),
        sensors=replace(scenario.sensors, noise_g=0.3, vibration_g=0.0),
    )
    cart = VirtualCart(scenario, Clock(SPEED), tmp_path)
    yield cart
    cart.stop()


def test_a_charge_is_sensed_stopped_and_finished_over_the_wire(cart):
    marks, latest = [], {}
    cart.marks = lambda mark, detail: marks.append((mark, detail))
    cart.start()
    config = load_cart(cart.cart_file)
    source = BoardSource(config.board.port, config.channels, cart.clock)
    source.open()
    until, highest_g, told = time.monotonic() + PATIENCE_REAL_S, 0.0, False
    while not cart.done.is_set() and time.monotonic() < until:
        for block in source.read(0.5):
            latest[block.channel] = block.value[-1]
        highest_g = max(highest_g, latest.get("scale", 0.0))
        if not told and latest.get("scale", 0.0) > 100.0 and latest["scale"] < highest_g - 150.0:
            cart.on_alert("stop-charging")
            told = True
    source.close()
    truth = cart.truth()
    assert cart.done.is_set()
    assert set(latest) == set(WIRES)
    assert highest_g == pytest.approx(truth["containers"][0]["gross_on_g"], abs=15.0)
    assert 140.0 < truth["charge"]["drawn_g"] < 400.0
    assert ("stage", {"stage": "charging"}) in marks
    assert ("stage", {"stage": "closed"}) in marks


def test_setup_names_only_channels_that_have_a_wire(cart):
    setup = cart.setup()
    assert set(setup["channels"]) == set(WIRES)
    assert setup["target_g"] == cart.scenario.target_g


def test_a_cart_that_does_not_play_yet_is_read_but_stands_still(cart):
    cart.start(play=False)
    config = load_cart(cart.cart_file)
    source = BoardSource(config.board.port, config.channels, cart.clock)
    source.open()
    until, readings = time.monotonic() + PATIENCE_REAL_S, 0
    while readings < 20 and time.monotonic() < until:
        readings += sum(len(block) for block in source.read(0.5))
    source.close()
    assert readings >= 20
    assert cart.truth()["duration_s"] == 0.0


def test_stopping_a_cart_that_never_started_is_harmless(cart):
    cart.stop()
    assert not cart.done.is_set()


@pytest.mark.parametrize("channel", sorted(WIRES))
def test_a_code_turns_back_into_its_value(channel):
    wire = WIRES[channel]
    (code_a, value_a), (code_b, value_b) = wire.points
    per_code = (value_b - value_a) / (code_b - code_a)
    for value in (value_a, 0.3 * value_a + 0.7 * value_b, value_b):
        assert value_a + (wire.code(value) - code_a) * per_code == pytest.approx(value, abs=abs(per_code))
