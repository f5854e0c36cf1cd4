"""Every sensor ill in every way, in a closed loop: what must be told is told in time, no stop is false or missed, no
verdict wrong, and the record has all that came. The long form is `tests/faults/run --full`."""

from __future__ import annotations

import pytest
from fault_play import kept_and_judged_alike, play
from sensor_cases import SCENES, cases, what_failed

from logger.record.store import Store

SHORT = [case for case in cases() if not case.full_only]


@pytest.fixture(scope="module")
def store(tmp_path_factory):
    opened = Store.open(tmp_path_factory.mktemp("faults") / "tarebook.db")
    yield opened
    opened.close()


@pytest.mark.parametrize("case", SHORT, ids=lambda case: case.name)
def test_a_sensor_fault_is_told_and_does_no_harm(case, store):
    played = play(SCENES[case.scene].scenario, case.fault)
    assert kept_and_judged_alike(store, played, case.name)
    if case.short:
        assert what_failed(case, played), "it holds by now: take `short` off this case"
    else:
        assert not what_failed(case, played)


@pytest.mark.parametrize("name", ["vapour", "liquid", "hot container", "no fan"])
def test_without_a_fault_nothing_is_said_of_sensors(name):
    scene = SCENES[name]
    played = play(scene.scenario, None)
    codes = {alert["code"] for alert in played.alerts}
    assert not codes & {"sensor-stale", "sensor-fault"}
    assert set(scene.must) <= codes
