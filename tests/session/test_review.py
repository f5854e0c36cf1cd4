"""The criteria of a session's review, each at, near and beyond its limit."""

from __future__ import annotations

import pytest

from logger.record.recording import read_recording
from logger.replay import replay
from logger.session.criteria import CRITERIA
from logger.session.review import overall, review

OUTCOMES = {"pass", "fail", "marginal", "not-judged"}
CONTRACT = {"criterion", "measured", "unit", "limit", "outcome", "source", "t_s", "why"}


def findings(**changes) -> dict:
    charge = {
        "target_g": 500.0,
        "placard_low_g": 480.0,
        "placard_high_g": 520.0,
        "delivered_g": 500.0,
        "uncertainty_g": 4.0,
        "stop_alert_t_s": 300.0,
        "flow_ended_t_s": 301.5,
        "containers": [],
        "budget": [],
    }
    charge |= changes.pop("charge", {})
    found = {
        "charge": charge,
        "evacuation": {"lowest_pa": 30.0, "curve": [[10.0, 500.0], [60.0, 30.0]]},
        "vacuum_hold": [{"verdict": "tight", "why": "", "start_t_s": 100.0, "rise_pa_per_s": 0.001}],
        "stages": [{"stage": "charging", "t_s": 200.0}],
        "alerts": [],
        "job": {"technician": "J. Example", "certificate": "T-1", "registration": "AB 1"},
    }
    return found | changes


def outcome(criterion: str, found: dict) -> str:
    return next(row["outcome"] for row in review(found) if row["criterion"] == criterion)


def test_a_good_session_passes_everything():
    rows = review(findings())
    assert {row["outcome"] for row in rows} == {"pass"} and overall(rows) == "pass"
    assert all(set(row) >= CONTRACT for row in rows)


@pytest.mark.parametrize(
    ("delivered", "u", "label", "error"),
    [
        (500.0, 4.0, "pass", "pass"),
        (516.5, 3.0, "pass", "pass"),  # 16.5 g off, but surely within the label
        (518.0, 4.0, "marginal", "marginal"),
        (523.0, 4.0, "marginal", "fail"),
        (525.0, 4.0, "fail", "fail"),
        (477.0, 4.0, "marginal", "fail"),
        (470.0, 4.0, "fail", "fail"),
    ],
)
def test_the_charge_against_label_and_tolerance(delivered, u, label, error):
    """±15 g: SAE J2788 = 40 CFR 82 subpart B appendix C, 7.1.3; a limit within the uncertainty is marginal."""
    found = findings(charge={"delivered_g": delivered, "uncertainty_g": u})
    assert outcome("charge within the label", found) == label
    assert outcome("charge error", found) == error


def test_a_label_tighter_than_equipment_can_keep_is_marginal_at_worst_within_15_g():
    found = findings(charge={"placard_low_g": 495.0, "placard_high_g": 505.0, "delivered_g": 510.0})
    assert outcome("charge within the label", found) == "marginal" and outcome("charge error", found) == "pass"


@pytest.mark.parametrize(("u", "expected"), [(7.5, "pass"), (7.6, "marginal"), (15.1, "fail"), (None, "not-judged")])
def test_the_uncertainty_is_judged_too(u, expected):
    assert outcome("uncertainty of the charge", findings(charge={"uncertainty_g": u})) == expected


@pytest.mark.parametrize(
    ("ended", "expected"), [(302.0, "pass"), (290.0, "pass"), (305.5, "fail"), (None, "not-judged")]
)
def test_the_stop_is_heeded_or_not(ended, expected):
    assert outcome("stop heeded", findings(charge={"flow_ended_t_s": ended})) == expected


@pytest.mark.parametrize(
    ("lowest", "air", "dry"), [(30, "pass", "pass"), (70, "pass", "marginal"), (2500, "fail", "fail")]
)
def test_the_depth_of_the_vacuum(lowest, air, dry):
    found = findings(evacuation={"lowest_pa": float(lowest)})
    assert (outcome("air removed", found), outcome("dry vacuum", found)) == (air, dry)


def test_without_a_deep_sensor_the_vacuum_is_not_judged_and_says_why():
    found = findings(evacuation={"lowest_pa": None, "why": "no deep-vacuum sensor"}, vacuum_hold=[])
    rows = {row["criterion"]: row for row in review(found)}
    assert rows["dry vacuum"]["outcome"] == "not-judged" and rows["dry vacuum"]["why"] == "no deep-vacuum sensor"
    assert rows["dry vacuum"]["measured"] is None


@pytest.mark.parametrize(
    ("verdict", "expected"),
    [("tight", "pass"), ("leak", "fail"), ("moisture", "fail"), ("inconclusive", "not-judged"), (None, "fail")],
)
def test_the_last_hold_before_the_charge_counts(verdict, expected):
    after = {"verdict": "leak", "why": "", "start_t_s": 500.0, "rise_pa_per_s": 1.0}
    holds = [{"verdict": verdict, "why": "", "start_t_s": 90.0, "rise_pa_per_s": 0.01}, after] if verdict else [after]
    assert outcome("vacuum hold", findings(vacuum_hold=holds)) == expected


def test_a_hold_left_out_with_a_reason_is_not_judged():
    skipped = [{"stage": "vacuum_hold", "by": "mark", "why": "nitrogen test done", "t_s": 150.0}]
    rows = review(findings(vacuum_hold=[], stages_skipped=skipped))
    (row,) = [row for row in rows if row["criterion"] == "vacuum hold"]
    assert row["outcome"] == "not-judged" and "nitrogen" in row["why"]


def test_dangers_fail_and_point_to_their_time():
    alerts = [{"code": "backflow", "severity": "danger", "t_s": 42.0}]
    (row,) = [row for row in review(findings(alerts=alerts)) if row["criterion"] == "no danger"]
    assert (row["outcome"], row["t_s"], row["why"]) == ("fail", 42.0, "backflow")


def test_repair_before_refill_only_where_the_law_has_it():
    leak = {"job": {"leak_verdict": "found"}}
    assert "repair before refill" not in {row["criterion"] for row in review(findings(**leak, jurisdiction="US"))}
    assert outcome("repair before refill", findings(**leak, jurisdiction="EU")) == "fail"
    leak["job"]["repair_done"] = True
    assert outcome("repair before refill", findings(**leak, jurisdiction="EU")) == "pass"


def test_findings_of_nothing_are_judged_without_a_fault():
    rows = review({"charge": None, "alerts": []})
    assert {row["criterion"] for row in rows} == {"no danger", "sensors sound"}
    assert overall([]) == "not-judged"


def test_every_criterion_names_its_source_and_when_it_applies():
    assert all(c.source and c.applies_when for c in CRITERIA)
    assert len({c.name for c in CRITERIA}) == len(CRITERIA)


def test_a_whole_recording(recordings):
    rows = {row["criterion"]: row for row in replay(read_recording(recordings / "full-session.zip"))["review"]}
    assert {row["outcome"] for row in rows.values()} <= OUTCOMES
    assert rows["charge within the label"]["outcome"] == "fail" and rows["vacuum hold"]["outcome"] == "pass"
    assert rows["stop heeded"]["measured"] > 30 and rows["recovered mass known"]["outcome"] == "pass"
