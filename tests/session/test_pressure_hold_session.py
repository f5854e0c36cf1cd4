"""A nitrogen test as a session has it: the stage told, the findings, the review, the cautions; cut as one likes."""

from __future__ import annotations

import json

import numpy as np
import pytest
from fills import cut
from hypothesis import given, settings
from hypothesis import strategies as st

from firmware_bridge.blocks import Block
from logger.findings_text import findings_as_text
from logger.measure.marks import Mark
from logger.session.cautions import cautions_for
from logger.session.pipeline import Pipeline
from logger.session.setup import ChannelInfo, SessionSetup

SETUP = SessionSetup.from_json({"session_id": "n2", "refrigerant": "R-134a", "system_volume_ml": 2400})
MARKS = [Mark(2.5, "stage", {"stage": "pressure_hold"}), Mark(920.5, "stage", {"stage": "evacuation"})]
END_S = 925.0


def stream(fall_pa_per_s: float) -> list[Block]:
    """Filled within half a minute, held for fourteen, let down; a probe on the circuit that cools by a kelvin."""
    rng = np.random.default_rng(3)
    t = np.round(np.arange(0.1, END_S, 0.5), 3)
    temp_c = 25.0 - t / END_S
    held_kpa = 1000.0 - fall_pa_per_s * 1e-3 * t
    kpa = np.interp(t, [0.0, 30.0, 31.0, 890.0, 910.0, END_S], [0.0, 0.0, 1.0, 1.0, 0.0, 0.0]) * held_kpa
    kpa = (kpa + 101.3) * (temp_c + 273.15) / 298.15 - 101.3 + rng.normal(0.0, 0.6, len(t))
    seconds = np.round(np.arange(0.2, END_S, 1.0), 3)
    return [Block("low_side", t, kpa), Block("suction_temp", seconds, 25.0 - seconds / END_S)]


def run(blocks: list[Block], edges: list[float]) -> dict:
    pipeline = Pipeline(SETUP, {"low_side": ChannelInfo("kPa", 2.0), "suction_temp": ChannelInfo("°C", 1.0)}, {})
    bounds = sorted({*edges, *(mark.t_s for mark in MARKS)})
    for bound, batch in zip([*bounds, np.inf], cut(blocks, bounds), strict=True):
        pipeline.feed(batch)
        for mark in MARKS:
            if mark.t_s == bound:
                pipeline.mark(mark)
    return pipeline.findings()


WHOLE = {fall: run(stream(fall), []) for fall in (0.0, 15.0)}


@pytest.mark.parametrize(("fall", "verdict", "outcome"), [(0.0, "tight", "pass"), (15.0, "leak", "fail")])
def test_the_review_takes_the_verdict_and_the_terminal_says_it(fall, verdict, outcome):
    found = WHOLE[fall]
    (hold,) = found["pressure_hold"]
    (row,) = [row for row in found["review"] if row["criterion"] == "pressure hold"]
    assert (hold["verdict"], row["outcome"]) == (verdict, outcome)
    assert f"Pressure    {verdict} after" in findings_as_text(found)
    assert [stage["stage"] for stage in found["stages"]] == ["pressure_hold", "evacuation"]
    assert not found["alerts"]


def test_no_row_without_a_test():
    pipeline = Pipeline(SETUP, {"low_side": ChannelInfo("kPa", 2.0)}, {})
    assert "pressure hold" not in {row["criterion"] for row in pipeline.findings()["review"]}


@settings(max_examples=6, deadline=None)
@given(st.lists(st.floats(0.0, END_S), max_size=30))
def test_any_cut_gives_the_same(edges):
    assert json.dumps(run(stream(15.0), edges), sort_keys=True) == json.dumps(WHOLE[15.0], sort_keys=True)


def test_the_cautions_of_the_stage():
    codes = {caution.code for caution in cautions_for("pressure_hold", "R-134a")}
    assert {"dry-nitrogen-only", "below-test-pressure", "no-shop-air"} <= codes
    assert "dry-nitrogen-only" not in {caution.code for caution in cautions_for("evacuation", "R-134a")}
