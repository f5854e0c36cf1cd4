"""Stages found from the readings, told by marks, skipped, and the gates on the way into them."""

from __future__ import annotations

from dataclasses import replace

import pytest

from logger.measure.marks import Mark
from logger.measure.ticks import ScaleView, Tick
from logger.record.recording import read_recording
from logger.replay import replay
from logger.session.cautions import CAUTIONS, cautions_for
from logger.session.gates import UNHELD, UNREPAIRED, RefillLaw, gates
from logger.session.stage_signs import Sign, StageSigns
from logger.session.stages import TOLD_COUNTS_S, StageKeeper

EVACUATION = Sign("evacuation", "pumped")

WITHIN_S = {"recovery": 30, "evacuation": 45, "vacuum_hold": 130, "charging": 45, "performance": 45}
"""A hold shows by its rise, and that takes a while; the others show in seconds."""

FOUND = {
    "full-session": ["recovery", "evacuation", "vacuum_hold", "charging", "performance"],
    "single-cylinder": ["evacuation", "charging", "performance"],
    "backflow": ["evacuation", "charging", "performance"],
    "hold-leak": ["evacuation", "vacuum_hold"],
    "hold-moisture": ["evacuation", "vacuum_hold"],
}


@pytest.mark.parametrize("name", sorted(FOUND))
def test_stages_are_found_without_a_mark(name, recordings):
    recording = read_recording(recordings / f"{name}.zip")
    told = {mark.detail["stage"]: mark.t_s for mark in recording.marks if mark.mark == "stage"}
    stages = replay(replace(recording, marks=[]))["stages"]
    assert [stage["stage"] for stage in stages] == FOUND[name]
    for stage in stages:
        assert stage["by"] == "signals" and stage["why"]
        assert stage["t_s"] == pytest.approx(told[stage["stage"]], abs=WITHIN_S[stage["stage"]])


def test_a_container_swapped_late_goes_back_to_charging(recordings):
    recording = read_recording(recordings / "three-cans-disturbed.zip")
    stages = [stage["stage"] for stage in replay(replace(recording, marks=[]))["stages"]]
    assert stages[:2] == ["evacuation", "charging"] and stages[-1] == "performance"


def test_marks_that_fit_are_left_alone(recordings):
    findings = replay(read_recording(recordings / "full-session.zip"))
    assert {stage["by"] for stage in findings["stages"]} == {"mark"}


def test_flow_the_wrong_way_is_no_recovery(recordings):
    recording = read_recording(recordings / "backflow.zip")
    findings = replay(replace(recording, marks=[]))
    assert "recovery" not in {stage["stage"] for stage in findings["stages"]}
    assert "backflow" in {alert["code"] for alert in findings["alerts"]}


def test_what_is_told_counts_for_a_while_and_until_the_readings_say_something_else():
    keeper = StageKeeper()
    assert keeper.suggest(1.0, EVACUATION) == "evacuation"
    keeper.enter(1.0, "evacuation", "signals", EVACUATION.why)
    keeper.enter(10.0, "oil_and_dye", "mark", "told")
    assert keeper.suggest(10.0 + TOLD_COUNTS_S * 5, EVACUATION) is None
    assert keeper.suggest(400.0, Sign("charging", "drawn")) == "charging"
    assert keeper.suggest(401.0, EVACUATION) == "evacuation"


def test_a_sign_that_comes_just_after_a_mark_waits():
    keeper = StageKeeper()
    keeper.enter(100.0, "vacuum_hold", "mark", "told late")
    charging = Sign("charging", "drawn")
    assert keeper.suggest(100.0 + TOLD_COUNTS_S / 2, charging) is None
    assert keeper.suggestion == charging
    assert keeper.suggest(100.0 + TOLD_COUNTS_S, charging) == "charging"


def test_what_is_not_certain_is_offered_and_a_closed_session_stays_closed():
    keeper = StageKeeper()
    doubtful = Sign("recovery", "falls", certain=False)
    assert keeper.suggest(1.0, doubtful) is None and keeper.suggestion == doubtful
    keeper.enter(2.0, "closed", "mark", "told")
    assert keeper.suggest(500.0, EVACUATION) is None and keeper.stage == "closed"


def test_a_stage_that_is_none_changes_nothing():
    keeper = StageKeeper()
    assert keeper.enter(1.0, "lunch", "mark", "told") == [] and keeper.stage == "identification"


def test_skipped_stages_are_listed_with_their_reason():
    keeper = StageKeeper()
    keeper.skip(1.0, "evacuation", "new system under factory vacuum")
    keeper.enter(2.0, "charging", "mark", "told")
    found = [(s["stage"], s["by"]) for s in keeper.skipped_json()]
    assert found == [("evacuation", "mark"), ("vacuum_hold", "signals")]
    assert keeper.skipped_json()[0]["why"].startswith("new system")


def at(t_s: float, **values) -> Tick:
    return Tick(t_s, values, values, "identification", ScaleView())


def test_a_deep_sensor_alone_shows_an_evacuation_and_a_running_system_none():
    signs = StageSigns(None, None)
    assert [signs.update(at(k, vacuum=300.0), False) for k in range(5)][-1].stage == "evacuation"
    signs = StageSigns(None, None)
    starved = [signs.update(at(k, low_side=-95.0, high_side=900.0), False) for k in range(20)]
    assert starved == [None] * 20


def test_altitude_counts():
    """Ambient is 79.5 kPa at 2000 m (ISO 2533): -62 kPa on a gauge is a pump there, and not at sea level."""
    for altitude_m, stage in ((2000.0, "evacuation"), (0.0, None)):
        signs = StageSigns(None, altitude_m)
        sign = [signs.update(at(k, low_side=-62.0), False) for k in range(5)][-1]
        assert (sign.stage if sign else None) == stage


TIGHT, LEAK = {"verdict": "tight"}, {"verdict": "leak"}


@pytest.mark.parametrize(
    ("holds", "evacuated", "repaired", "place", "active"),
    [
        ([TIGHT], True, False, "EU", set()),
        ([LEAK, TIGHT], True, False, "EU", set()),
        ([], True, False, "", {UNHELD}),
        ([], False, False, "EU", set()),
        ([LEAK], True, False, "US", {UNHELD}),
        ([LEAK], True, False, "uk", {UNHELD, UNREPAIRED}),
        ([LEAK], True, True, "EU", {UNHELD}),
    ],
)
def test_gates_warn_on_the_way_into_the_charge(holds, evacuated, repaired, place, active):
    job, law = {"repair_done": repaired}, RefillLaw(place)
    signals = gates("charging", holds, evacuated, job, law)
    assert {signal.code for signal in signals if signal.active} == active
    assert not any(signal.active for signal in gates("evacuation", holds, evacuated, job, law))


def test_the_shops_own_words_stand_against_refilling_a_leak_that_was_found():
    law = RefillLaw("", "County rule 12: no refill before the leak is mended.")
    found = {"leak_verdict": "found"}
    (told,) = [s for s in gates("charging", [], False, found, law) if s.active]
    assert told.code == UNREPAIRED and "County rule 12" in told.message and "A leak was found" in told.message
    assert not any(s.active for s in gates("charging", [], False, {**found, "repair_done": True}, law))
    assert not any(s.active for s in gates("charging", [], False, found, RefillLaw("")))


def test_the_refill_gate_reads_the_jurisdiction_and_the_repair(recordings):
    recording = read_recording(recordings / "hold-leak.zip")
    session = {**recording.session, "jurisdiction": "EU"}
    charge = Mark(2480.0, "stage", {"stage": "charging"})
    marks = [*(m for m in recording.marks if m.t_s < 2480.0), charge]
    repaired = Mark(2470.0, "note", {"job": {"repair_done": True, "repair": "new seal"}})

    def codes(marks):
        findings = replay(replace(recording, session=session, marks=marks))
        return {alert["code"] for alert in findings["alerts"]}

    assert UNREPAIRED in codes(marks)
    assert UNREPAIRED not in codes([*marks[:-1], repaired, charge])


def test_cautions_fit_stage_refrigerant_and_place():
    assert {"local-codes-first", "gloves-and-glasses"} <= {c.code for c in cautions_for("vacuum_hold", "R-134a")}
    charging = {c.code for c in cautions_for("charging", "R-1234yf", "EU")}
    assert {"no-ignition", "repair-before-refill", "never-heat-container", "high-side-shut"} <= charging
    assert "no-ignition" not in {c.code for c in cautions_for("charging", "R-134a")}
    assert "no-ignition" in {c.code for c in cautions_for("charging", "unheard-of")}
    assert "repair-before-refill" not in {c.code for c in cautions_for("charging", "R-134a", "US")}
    assert "burning-refrigerant" in charging and "beyond-this-cart" not in charging
    assert "beyond-this-cart" in {c.code for c in cautions_for("charging", "R-744")}
    assert all(caution.source for caution in CAUTIONS)


def test_stages_found_do_not_depend_on_how_the_readings_were_cut(recordings):
    recording = replace(read_recording(recordings / "backflow.zip"), marks=[])
    assert replay(recording, pace=lambda t_s: None) == replay(recording)
