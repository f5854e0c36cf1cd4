"""Findings in plain words."""

from __future__ import annotations

from logger.findings_text import before_lines, findings_as_text, told
from logger.session.events import Event

FINDINGS = {
    "session_id": "s-1",
    "refrigerant": "R-134a",
    "duration_s": 3725.0,
    "charge": {
        "target_g": 560.0,
        "placard_low_g": 535.0,
        "placard_high_g": 585.0,
        "delivered_g": 561.2,
        "uncertainty_g": 3.1,
        "within_placard": True,
        "containers": [
            {"gross_on_g": 8091.1, "gross_off_g": 8522.7, "drawn_g": -431.6},
            {"gross_on_g": 520.0, "gross_off_g": None, "drawn_g": 338.2},
        ],
        "stop_alert_t_s": 2000.0,
        "flow_ended_t_s": 2001.6,
    },
    "recovered": {"mass_g": 431.6, "uncertainty_g": 1.4},
    "evacuation": {"lowest_pa": 14.2, "seconds_below_67_pa": 1800.0, "water_plateau": True},
    "vacuum_hold": [{"start_t_s": 0.0, "end_t_s": 600.0, "verdict": "inconclusive", "why": "hold on for 6 min more"}],
    "performance": {
        "vent_temp_c": 6.5,
        "low_side_kpa": None,
        "patterns": [{"pattern": "overcharge", "evidence": ["high side up", "subcooling 14 K"]}],
    },
    "alerts": [{"t_s": 2000.0, "severity": "notice", "code": "stop-charging", "message": "Close the valve now"}],
    "review": [
        {"criterion": "charge error", "measured": 1.2, "unit": "g", "limit": "15 g", "outcome": "pass"},
        {"criterion": "vacuum", "measured": None, "why": "no sensor", "limit": "67 Pa", "outcome": "not-judged"},
    ],
}


def test_every_part_has_its_line():
    text = findings_as_text(FINDINGS)
    for part in (
        "Session s-1, R-134a, 1:02:05",
        "Delivered   561.2 g ± 3.1 g (k = 2), +1.2 g off target, within the label",
        "took in 431.6 g",
        "520.0 g to unknown, drawn 338.2 g",
        "Stop called at 33:20, flow ended 1.6 s later",
        "Recovered   431.6 g ± 1.4 g (k = 2)",
        "down to 14 Pa, 30:00 below 67 Pa, hung a while where water boils",
        "inconclusive after 10:00: hold on for 6 min more",
        "Performance vent 6.5 °C",
        "looks like overcharge: high side up; subcooling 14 K",
        "stop-charging: Close the valve now",
        "charge error: 1.2 g, limit 15 g",
        "vacuum: no sensor, limit 67 Pa",
    ):
        assert part in text


def test_what_is_not_there_takes_no_line():
    text = findings_as_text({"session_id": "s", "refrigerant": "R-134a", "duration_s": 1.0})
    assert text == "Session s, R-134a, 0:01"


def test_events_are_told_on_one_line():
    alert = {"severity": "danger", "code": "backflow", "state": "raised", "message": "shut the valve"}
    assert told(Event("alert", 65.0, alert)) == "    1:05  danger   backflow raised: shut the valve"
    assert told(Event("stage", 3.0, {"stage": "charging"})).split() == ["0:03", "stage", "charging"]


def test_what_is_known_from_before_takes_two_lines():
    known = {"before": {"words": ["Here before once.", "500 g went in.", "Lost 60 g."]}, "before_why": ""}
    assert before_lines(known) == ["Before      Here before once.", "            500 g went in. Lost 60 g."]
    assert before_lines({"before": None, "before_why": "no VIN"}) == ["Before      not judged: no VIN"]
