"""Closed sessions in the container ledger: booked once, held against the scale, what cannot be booked said."""

from __future__ import annotations

import pytest
from store_making import CHANNELS, SETUP

from logger.measure.marks import Mark
from logger.record.container_booking import book_session, unbooked, weighed
from logger.record.containers import Containers, ledger, movements
from logger.record.store import Store


@pytest.fixture
def store(tmp_path):
    """A store with a ledger of a can and a recovery cylinder."""
    made = Store.open(tmp_path / "tarebook.db")
    Containers(made).add("K-1", "can", "R-134a", tare_g=182.0, full_g=340.0)
    Containers(made).add("R-1", "recovery_cylinder", "R-134a", tare_g=5200.0, start_g=1000.0)
    yield made
    made.close()


def session(store, parts, marks, **changes):
    """A closed session: parts as (on, off, gross on, gross off, purpose), marks as (time, label); id and findings."""
    names = ("on_t_s", "off_t_s", "gross_on_g", "gross_off_g", "purpose")
    booked = [dict(zip(names, part, strict=True)) for part in parts]
    booked = [{**part, "drawn_g": part["gross_on_g"] - part["gross_off_g"]} for part in booked]
    found = {"charge": {"containers": booked}, "scale_events": [], "duration_s": 900.0}
    session_id = store.create_session({**SETUP, **changes}, CHANNELS, "2024-06-11T08:15:00Z", {})
    for t_s, label in marks:
        store.add_mark(session_id, Mark(t_s, "container_on", {"label": label}))
    store.set_findings(session_id, found)
    store.commit()
    return session_id, found


def left(store):
    return {row["label"]: row["left_g"] for row in ledger(store.reader())}


RECOVERY = (50.0, 200.0, 6200.0, 6500.0, "recovery")
CAN = (300.0, 600.0, 522.0, 192.0, "charge")
BOTH = [(52.0, "R-1"), (301.0, "K-1")]


def test_a_session_is_booked_once_and_the_scale_held_against_it(store):
    session_id, found = session(store, [RECOVERY, CAN], BOTH)
    assert book_session(store, session_id, found, "2024-06-11T08:15:00Z") == []
    before = [movements(store.reader(), label) for label in ("K-1", "R-1")]
    assert book_session(store, session_id, found, "2024-06-11T08:15:00Z") == []
    assert [movements(store.reader(), label) for label in ("K-1", "R-1")] == before
    assert left(store) == {"K-1": 10.0, "R-1": 1300.0}
    store.close_session(session_id)
    checks = weighed(store.reader())
    assert checks["K-1"]["left_by_scale_g"] == 10.0 and checks["K-1"]["discrepancy_g"] == 0.0
    assert checks["R-1"]["discrepancy_g"] == 0.0 and checks["R-1"]["session_id"] == session_id
    assert unbooked(store.reader()) == []


def test_a_label_told_anew_moves_the_booking(store):
    Containers(store).add("K-2", "can", "R-134a", tare_g=150.0, full_g=340.0)
    session_id, found = session(store, [CAN], [(330.0, "K-1")])
    book_session(store, session_id, found)
    store.add_mark(session_id, Mark(300.5, "container_on", {"label": "K-2"}))
    store.commit()
    assert book_session(store, session_id, found) == []
    assert left(store) == {"K-1": 340.0, "K-2": 10.0, "R-1": 1000.0}
    store.close_session(session_id)
    assert weighed(store.reader())["K-2"]["discrepancy_g"] == 32.0


@pytest.mark.parametrize(
    ("parts", "marks", "changes", "says"),
    [
        ([CAN], [(301.0, "K-9")], {}, "container K-9: it is not in the ledger: add it first"),
        ([CAN], [(301.0, "K-1")], {"refrigerant": "R-1234yf"}, "container K-1: it holds R-134a, session"),
        ([(300.0, 600.0, 900.0, 400.0, "charge")], [(301.0, "K-1")], {}, "160 g more than it holds, below its tare"),
        ([RECOVERY], [(52.0, "K-1")], {}, "container K-1: a can is not refilled"),
        ([CAN], [], {}, "no label was told for it"),
    ],
)
def test_what_cannot_be_booked_is_one_line_and_stays_out(store, parts, marks, changes, says):
    before = left(store)
    session_id, found = session(store, parts, marks, **changes)
    lines = book_session(store, session_id, found)
    store.close_session(session_id)
    assert left(store) == before
    (row,) = unbooked(store.reader())
    assert says in row["why"] and "\n" not in row["why"]
    assert lines == ([row["why"]] if marks else [])


def test_one_that_cannot_be_booked_keeps_no_other_out(store):
    session_id, found = session(store, [RECOVERY, CAN], [(52.0, "R-9"), (301.0, "K-1")])
    assert len(book_session(store, session_id, found)) == 1
    assert left(store)["K-1"] == 10.0


def test_a_container_registered_afterwards_is_to_be_weighed(store):
    session_id, found = session(store, [CAN], [(301.0, "K-3")])
    book_session(store, session_id, found)
    store.close_session(session_id)
    Containers(store).add("K-3", "can", "R-134a", full_g=340.0)
    assert "came into the ledger later" in unbooked(store.reader())[0]["why"]
