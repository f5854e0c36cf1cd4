"""The buzzer: the most urgent standing alert is what one hears."""

from __future__ import annotations

import threading
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.publish.buzzer import APPROACH, DANGER, STOP, Buzzer, choose


def alert(seq, code="stop-charging", severity="notice", state="raised"):
    return {"seq": seq, "code": code, "severity": severity, "state": state}


APPROACHING = alert(1, "approaching-target")
STOPPING = alert(2, "stop-charging")
HOT = alert(3, "container-hot", "danger")


@pytest.mark.parametrize(
    ("alerts", "wanted"),
    [
        ([APPROACHING], APPROACH),
        ([APPROACHING, STOPPING], STOP),
        ([HOT, STOPPING, APPROACHING], DANGER),
        ([alert(3, "container-hot", "danger", "acknowledged"), STOPPING], STOP),
        ([alert(2, state="acknowledged")], None),
        ([alert(4, "scale-drift", "caution")], None),
        ([], None),
    ],
)
def test_the_most_urgent_unacknowledged_alert_sounds(alerts, wanted):
    assert choose(alerts, frozenset())[0] is wanted


alerts = st.builds(
    alert,
    st.integers(1, 9),
    st.sampled_from(["stop-charging", "approaching-target", "high-side-high", "note"]),
    st.sampled_from(["notice", "caution", "danger"]),
    st.sampled_from(["raised", "acknowledged", "cleared"]),
)


@given(st.lists(alerts, max_size=6), st.frozensets(st.integers(1, 9)))
def test_no_history_silences_an_unacknowledged_danger(standing, played):
    loud = any(a["severity"] == "danger" and a["state"] == "raised" for a in standing)
    assert (choose(standing, played)[0] is DANGER) == loud


def test_approach_is_heard_once():
    pattern, seq = choose([APPROACHING], frozenset())
    assert pattern is APPROACH
    assert choose([APPROACHING], frozenset({seq})) == (None, None)


def test_patterns_differ_in_their_longest_sound_and_count():
    shapes = {(len(p.beeps), max(sound for sound, _ in p.beeps)) for p in (DANGER, STOP, APPROACH)}
    assert len(shapes) == 3
    longest = sorted(max(sound for sound, _ in p.beeps) for p in (DANGER, STOP, APPROACH))
    assert all(b >= 2 * a for a, b in pairwise(longest))


def test_danger_pulses_within_half_to_four_a_second():
    """ISO 7731: pulsing signals for danger between 0.5 and 4 Hz (from memory)."""
    assert all(250 <= sound + silence <= 2000 for sound, silence in DANGER.beeps)


class Ear:
    def __init__(self):
        self.heard = []
        self.changed = threading.Condition()

    def request(self, beep):
        with self.changed:
            self.heard.append(beep)
            self.changed.notify_all()

    def wait_for(self, predicate):
        with self.changed:
            return self.changed.wait_for(lambda: predicate(self.heard), 20)


def test_danger_breaks_into_a_stop_and_repeats_until_acknowledged():
    ear = Ear()
    buzzer = Buzzer(ear.request)
    buzzer.start()
    buzzer.look([STOPPING])
    assert ear.wait_for(lambda heard: heard == [STOP.beeps[0][0]])
    buzzer.look([STOPPING, HOT])
    assert ear.wait_for(lambda heard: heard[1:].count(DANGER.beeps[0][0]) > len(DANGER.beeps))
    buzzer.look([STOPPING, {**HOT, "state": "acknowledged"}])
    assert ear.wait_for(lambda heard: heard[-1] == STOP.beeps[0][0])
    buzzer.stop()


def test_a_danger_that_stands_does_not_drown_a_stop():
    ear = Ear()
    buzzer = Buzzer(ear.request)
    buzzer.start()
    buzzer.look([HOT])
    assert ear.wait_for(lambda heard: heard)
    buzzer.look([HOT, STOPPING])
    whole = [sound for pattern in (DANGER, STOP, DANGER) for sound, _ in pattern.beeps]
    assert ear.wait_for(lambda heard: len(heard) >= len(whole))
    assert ear.heard[: len(whole)] == whole
    buzzer.stop()


def test_a_new_danger_breaks_into_a_stop_that_has_its_turn():
    ear = Ear()
    buzzer = Buzzer(ear.request)
    buzzer.start()
    buzzer.look([HOT, STOPPING])
    assert ear.wait_for(lambda heard: heard[-1:] == [STOP.beeps[0][0]])
    buzzer.look([HOT, STOPPING, alert(4, "high-side-high", "danger")])
    assert ear.wait_for(lambda heard: heard[-2:] == [STOP.beeps[0][0], DANGER.beeps[0][0]])
    buzzer.stop()


def test_a_board_that_has_gone_does_not_end_the_buzzer():
    calls = threading.Semaphore(0)

    def gone(beep):
        calls.release()
        raise OSError("gone")

    buzzer = Buzzer(gone)
    buzzer.start()
    buzzer.look([HOT])
    assert all(calls.acquire(timeout=20) for _ in range(2))
    buzzer.stop()
