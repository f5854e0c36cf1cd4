"""The line that says what to do, and which figure is large."""

from __future__ import annotations

import pytest
from fake_port import alert, filling, holding
from hypothesis import given
from hypothesis import strategies as st

from web.glance import BY_STAGE, HOLD_LINES, do_now, hero, standing


def charged(**charge) -> dict:
    now = filling()
    now["charge"].update(charge)
    return now


@pytest.mark.parametrize(
    ("now", "line"),
    [
        (filling(10.0), "Filling. Leave the valve as it is."),
        (charged(seconds_to_stop=12.0), "Hand on the valve. Close it at the signal."),
        (charged(flow_g_per_s=0.0), "Nothing flows: open the container valve."),
        (charged(remaining_g=-2.0, flow_g_per_s=2.0), "Past the target: close the valve."),
        (charged(remaining_g=0.0, flow_g_per_s=0.0), "Target reached. Leave the valve closed."),
        (charged(remaining_g=None), "No target: nobody will say stop. Weigh with care."),
        (filling(alerts=[alert(1, "stop-charging", "notice", "x")]), "Close the container valve now."),
        (filling(alerts=[alert(1, "over-placard", "danger", "Recover it.")]), "Recover it."),
        (holding(), BY_STAGE["vacuum_hold"]),
        ({**filling(), "stage": "identification"}, BY_STAGE["identification"]),
        (
            {**filling(), "stage": "identification", "physics": {"static": {"words": "at rest below saturation"}}},
            "The circuit, at rest below saturation.",
        ),
    ],
)
def test_line(now, line):
    assert do_now(now) == line


def test_hero_follows_the_stage():
    assert hero(filling()) == "remaining"
    assert hero(holding()) == "vacuum"
    assert hero({**filling(), "stage": "performance"}) == "vent"
    assert hero({**filling(), "stage": "pressure_hold"}) == "low_side"
    assert hero({**filling(), "charge": None}) == "weight"


ALERTS = st.builds(
    alert,
    st.integers(1, 50),
    st.sampled_from(["stop-charging", "over-target", "sensor-stale"]),
    st.sampled_from(["notice", "caution", "danger"]),
    st.just("words"),
    st.sampled_from(["raised", "acknowledged", "cleared"]),
)


@given(st.lists(ALERTS, max_size=8))
def test_cleared_are_gone_and_nothing_acknowledged_stands_before_what_is_not(alerts):
    shown = standing(alerts)
    assert [a["state"] == "acknowledged" for a in shown] == sorted(a["state"] == "acknowledged" for a in shown)
    assert len(shown) == sum(a["state"] != "cleared" for a in alerts)


@pytest.mark.parametrize("verdict", ["tight", "leak", "moisture"])
def test_a_decided_hold_says_what_follows(verdict):
    now = holding()
    now["physics"]["hold"]["verdict"] = verdict
    assert do_now(now) != BY_STAGE["vacuum_hold"]


@pytest.mark.parametrize("line", [*BY_STAGE.values(), *HOLD_LINES.values()])
def test_lines_fit_a_phone_in_two_rows(line):
    assert len(line) <= 64
