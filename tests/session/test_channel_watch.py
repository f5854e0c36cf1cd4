"""A sensor that never said anything: the weight is missed from the beginning, others may not be fitted."""

from __future__ import annotations

import numpy as np
import pytest

from firmware_bridge.blocks import Block
from logger.session.pipeline import Pipeline
from logger.session.setup import SessionSetup, channel_infos

CHANNELS = channel_infos({"scale": {"unit": "g", "rate_hz": 10.0}, "low_side": {"unit": "kPa", "rate_hz": 5.0}})
SETUP = {
    "session_id": "s-1",
    "cart_id": "cart-1",
    "refrigerant": "R-134a",
    "placard": {"low_g": 285.0, "high_g": 315.0},
    "target_g": 300.0,
}


def alerts(events) -> list[tuple]:
    return [
        (e.data["code"], e.data["subject"], e.data["severity"], e.data["state"]) for e in events if e.kind == "alert"
    ]


@pytest.mark.parametrize("setup", [None, SessionSetup.from_json(SETUP)], ids=["between sessions", "in a session"])
def test_a_scale_that_never_spoke_is_a_danger_within_five_seconds_and_over_when_it_speaks(setup):
    pipeline = Pipeline(setup, CHANNELS, {})
    assert alerts(pipeline.advance(3.0)) == []
    told = alerts(pipeline.advance(5.0))
    assert told == [("sensor-stale", "scale", "danger", "raised")]
    assert alerts(pipeline.advance(60.0)) == []
    t_s = np.arange(60.1, 63.0, 0.1)
    told = alerts(pipeline.feed([Block("scale", t_s, np.full(len(t_s), 5000.0) + 0.1 * (np.arange(len(t_s)) % 3))]))
    assert told == [("sensor-stale", "scale", "danger", "cleared")]


def test_readings_of_another_channel_alone_show_that_the_scale_is_missing():
    pipeline = Pipeline(SessionSetup.from_json(SETUP), CHANNELS, {})
    t_s = np.arange(0.1, 8.0, 0.2)
    told = alerts(pipeline.feed([Block("low_side", t_s, 300.0 + 0.1 * (np.arange(len(t_s)) % 3))]))
    assert told == [("sensor-stale", "scale", "danger", "raised")]
