"""The demonstration's containers: in the ledger once, however often it is begun; a used can is not used again."""

from __future__ import annotations

from firmware_bridge.virtual.scenario import demo_scenario
from logger.demo_ledger import SENT_ABOVE_G, with_labels
from logger.paths import store_path
from logger.record.containers import Containers, ledger, movements
from logger.record.reader import StoreReader
from logger.record.store import Store
from logger.session.vin import parse_vin


def prepared(data):
    """The specs of all containers, in order."""
    scenario = with_labels(demo_scenario(), data)
    return [spec for step in scenario.steps for spec in step.containers]


def held(data):
    return {row["label"]: row for row in ledger(StoreReader(store_path(data)))}


def booked(data, act):
    store = Store.open(store_path(data))
    act(Containers(store))
    store.close()


def test_begun_twice_and_broken_off_it_adds_nothing(tmp_path):
    first = [spec.label for spec in prepared(tmp_path)]
    before = held(tmp_path)
    assert first == ["DEMO-R1", "DEMO-K1", "DEMO-K2"] == sorted(before, key=first.index)
    assert [spec.label for spec in prepared(tmp_path)] == first
    assert held(tmp_path) == before


def test_used_cans_are_left_alone_and_the_recovery_cylinder_fills(tmp_path):
    prepared(tmp_path)
    booked(tmp_path, lambda c: (c.drawn("DEMO-K1", 338.0), c.recovered("DEMO-R1", 305.0)))
    recovery, *cans = prepared(tmp_path)
    assert (recovery.label, recovery.content_g) == ("DEMO-R1", 2405.0)
    assert [can.label for can in cans] == ["DEMO-K3", "DEMO-K2"]
    assert [can.tare_g for can in cans] == [held(tmp_path)[can.label]["tare_g"] for can in cans]


def test_a_full_recovery_cylinder_is_sent_on(tmp_path):
    prepared(tmp_path)
    booked(tmp_path, lambda c: c.recovered("DEMO-R1", SENT_ABOVE_G))
    recovery = prepared(tmp_path)[0]
    assert recovery.content_g == held(tmp_path)["DEMO-R1"]["left_g"] == 2100.0
    sent = movements(StoreReader(store_path(tmp_path)), "DEMO-R1")[-1]
    assert sent["kind"] == "sent" and "invented" in sent["facility"]


def test_the_invented_vehicle_has_a_valid_number():
    vin = demo_scenario().session["vehicle"]["vin"]
    assert parse_vin(vin) == vin
