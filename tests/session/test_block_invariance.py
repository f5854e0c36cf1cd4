"""The same readings and marks give the same to the last bit, however they are cut into blocks."""

from __future__ import annotations

import json

import numpy as np
from fills import Fill, cut
from hypothesis import given, settings
from hypothesis import strategies as st

from firmware_bridge.blocks import Block
from logger.measure.marks import Mark
from logger.session.pipeline import Pipeline
from logger.session.setup import ChannelInfo, SessionSetup

END_S = 120.0
SETUP = SessionSetup.from_json(
    {
        "session_id": "cuts",
        "refrigerant": "R-134a",
        "placard": {"nominal_g": 120, "tolerance_g": 15},
        "hose_volume_ml": 60,
        "system_volume_ml": 2000,
    }
)
MARKS = [
    Mark(2.5, "stage", {"stage": "vacuum_hold"}),
    Mark(24.8, "stage", {"stage": "charging"}),
    Mark(60.0, "note", {}),
]


def stream(rate_hz: float) -> list[Block]:
    """A fill with a hand and a bump, and slow channels that fall silent, lie or say nothing now and then."""
    fill = Fill(
        opened_s=25.0,
        closed_s=95.0,
        end_s=END_S,
        rate_hz=rate_hz,
        touches=[(50.0, 56.0, 30.0), (70.0, 70.3, -200.0)],
    )
    rng = np.random.default_rng(5)
    scale = fill.scale()
    scale.value[::97] = np.nan
    blocks = [scale]
    for name, hz, low, high in [
        ("low_side", 5.0, -101.0, 250.0),
        ("high_side", 2.0, -101.0, 900.0),
        ("vacuum", 2.0, 20.0, 2700.0),
        ("ambient_temp", 1.0, 22.0, 24.0),
    ]:
        t = np.round(np.arange(0.0, END_S, 1.0 / hz), 3)
        v = np.where(t < 25.0, low, high) + rng.normal(0.0, 0.5, len(t))
        if name == "high_side":
            keep = (t < 60.0) | (t > 80.0)
            t, v = t[keep], v[keep]
        blocks.append(Block(name, t, v))
    return blocks


def run(blocks: list[Block], edges: list[float], rate_hz: float) -> tuple[str, list]:
    infos = {name: ChannelInfo("", hz) for name, hz in [("low_side", 5.0), ("high_side", 2.0), ("vacuum", 2.0)]}
    infos |= {"scale": ChannelInfo("g", rate_hz), "ambient_temp": ChannelInfo("°C", 1.0)}
    pipeline = Pipeline(SETUP, infos)
    bounds = sorted({*edges, *(mark.t_s for mark in MARKS)})
    events = []
    for bound, batch in zip([*bounds, np.inf], cut(blocks, bounds), strict=True):
        events += pipeline.feed(batch)
        for mark in MARKS:
            if mark.t_s == bound:
                events += pipeline.mark(mark)
    return json.dumps(pipeline.findings(), sort_keys=True), [(e.kind, e.t_s, dict(e.data)) for e in events]


STREAMS = {rate: stream(rate) for rate in (10.0, 80.0)}
WHOLE = {rate: run(blocks, [], rate) for rate, blocks in STREAMS.items()}


def test_the_stream_has_something_to_lose():
    for findings, events in WHOLE.values():
        codes = {data["code"] for kind, _, data in events if kind == "alert"}
        assert {"stop-charging", "approaching-target", "scale-disturbed", "sensor-stale"} <= codes
        assert json.loads(findings)["charge"]["delivered_g"] > 100


@settings(max_examples=25, deadline=None)
@given(st.sampled_from(sorted(STREAMS)), st.lists(st.floats(0.0, END_S), max_size=40))
def test_any_cut_gives_the_same(rate_hz, edges):
    assert run(STREAMS[rate_hz], edges, rate_hz) == WHOLE[rate_hz]


def test_sample_by_sample_gives_the_same():
    edges = sorted({float(t) for block in STREAMS[10.0] for t in block.t_s})
    assert run(STREAMS[10.0], edges, 10.0) == WHOLE[10.0]
