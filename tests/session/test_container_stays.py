"""Containers on the platform and the labels told for them: the right one, or none."""

from __future__ import annotations

import pytest

from logger.measure.marks import Mark
from logger.session.container_stays import container_stays


def part(on_s, off_s, drawn_g, purpose="charge", gross_on_g=520.0):
    edges = {"gross_on_g": gross_on_g, "gross_off_g": gross_on_g - drawn_g}
    return {"on_t_s": on_s, "off_t_s": off_s, "drawn_g": drawn_g, "purpose": purpose, **edges}


def findings(*parts, events=()):
    return {
        "charge": {"containers": list(parts)},
        "scale_events": [{"event": event, "t_s": t_s} for event, t_s in events],
    }


def told(*labels):
    return [Mark(t_s, "container_on", {"label": label} if label else {}) for t_s, label in labels]


def labels(found, marks):
    return [stay.label for stay in container_stays(found, marks)]


TWO = findings(part(100.0, 400.0, 336.0), part(430.0, None, 60.0))


@pytest.mark.parametrize(
    ("marks", "expected"),
    [
        ([(103.0, "K-1"), (435.0, "K-2")], ["K-1", "K-2"]),
        ([(80.0, "K-1"), (395.0, "K-2")], ["K-1", "K-2"]),  # scanned before they were placed
        ([(135.0, "K-1"), (465.0, "K-2")], ["K-1", "K-2"]),  # told late
        ([(103.0, "K-1")], ["K-1", None]),
        ([(103.0, ""), (435.0, "K-2")], [None, "K-2"]),
        ([(250.0, "K-1")], ["K-1", None]),  # told while it stood there, long after its placing
        ([(100.0, "K-1"), (140.0, "K-9")], ["K-1", None]),  # nearest wins
        ([], [None, None]),
    ],
)
def test_a_label_belongs_to_the_placing_it_was_told_for(marks, expected):
    assert labels(TWO, told(*marks)) == expected


def test_a_container_that_gave_nothing_keeps_its_label_to_itself():
    events = [("placed", 10.0), ("lifted", 60.0), ("placed", 100.0), ("lifted", 400.0)]
    found = findings(part(100.0, 400.0, 336.0), events=events)
    assert labels(found, told((12.0, "R-1"))) == [None]


def test_a_hand_taken_for_a_container_keeps_no_label():
    events = [("placed", 96.0), ("placed", 100.0), ("lifted", 400.0)]
    assert labels(findings(part(100.0, 400.0, 336.0), events=events), told((96.5, "K-1"))) == ["K-1"]


def test_parts_of_one_stay_are_one_stay():
    found = findings(
        part(100.0, 400.0, 9.0, "vented"), part(100.0, 400.0, 300.0), part(500.0, 900.0, -310.0, "recovery", 9000.0)
    )
    charged, recovered = container_stays(found, [])
    assert (charged.drawn_g, charged.recovered_g) == (309.0, 0.0)
    assert (recovered.drawn_g, recovered.recovered_g, recovered.gross_off_g) == (0.0, 310.0, 9310.0)


def test_without_a_scale_there_is_nothing_to_book():
    assert container_stays({"charge": None}, told((1.0, "K-1"))) == []
