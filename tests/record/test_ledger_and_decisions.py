"""The container ledger, reviewers' decisions, what may be deleted, and photos: kept, and refused in one line."""

from __future__ import annotations

import pytest
from store_making import ALERT, CHANNELS, SETUP, look

from logger.record.attachments import attach
from logger.record.containers import ContainerError, Containers, check_by_scale, ledger, movements
from logger.record.decisions import decide, disposable, prune
from logger.record.outbox import Outbox
from logger.record.store import Store, StoreError


@pytest.fixture
def store(tmp_path):
    """A store of its own, closed with the test."""
    made = Store.open(tmp_path / "tarebook.db")
    yield made
    made.close()


@pytest.fixture
def containers(store):
    """A ledger with a cylinder to draw from, a can, and a cylinder to recover into."""
    made = Containers(store)
    made.add("C-1", "refillable_cylinder", "R-134a", tare_g=7000.0, full_g=12000.0)
    made.add("K-1", "can", "R-134a", full_g=340.0)
    made.add("R-1", "recovery_cylinder", "R-134a", tare_g=6500.0, full_g=9000.0)
    return made


def session(store: Store, started_utc: str | None = "2024-06-11T08:15:00Z", **changes) -> str:
    """A closed session of three seconds."""
    session_id = store.create_session({**SETUP, **changes}, CHANNELS, started_utc, {})
    for second in range(3):
        store.append(session_id, look(second))
    store.close_session(session_id)
    return session_id


def left(store: Store) -> dict[str, float]:
    """What the ledger says each container holds."""
    return {row["label"]: row["left_g"] for row in ledger(store.reader())}


def test_the_ledger_follows_what_is_drawn_recovered_and_sent(store, containers):
    first, second = session(store), session(store)
    containers.drawn("C-1", 500.0, first, "2024-06-11T09:00:00Z")
    containers.drawn("C-1", 620.0, second)
    containers.recovered("R-1", 410.0, second)
    containers.sent("R-1", 400.0, "Example Reclaim", "1 Example Road", "2024-07-01T00:00:00Z", note="mixed oil")
    assert left(store) == {"C-1": 12000.0 - 1120.0, "K-1": 340.0, "R-1": 10.0}
    cylinder, _, recovery = ledger(store.reader())
    assert (cylinder["drawn_g"], recovery["recovered_g"], recovery["sent_g"]) == (1120.0, 410.0, 400.0)
    assert [m["session_id"] for m in movements(store.reader(), "C-1")] == [first, second]
    sent = movements(store.reader(), "R-1")[1]
    assert (sent["facility"], sent["address"], sent["mass_g"]) == ("Example Reclaim", "1 Example Road", -400.0)


def test_a_session_is_booked_once_however_often_it_is_told(store, containers):
    session_id = session(store)
    for mass_g in (300.0, 340.0, 338.0):
        containers.drawn("K-1", mass_g, session_id)
    assert left(store)["K-1"] == 2.0


def test_the_scale_is_held_against_the_ledger(store, containers):
    containers.drawn("C-1", 1000.0)
    found = check_by_scale(store.reader(), "C-1", 17_940.0)
    assert (found["left_by_ledger_g"], found["left_by_scale_g"], found["discrepancy_g"]) == (11000.0, 10940.0, -60.0)
    low = check_by_scale(store.reader(), "C-1", 6000.0)
    assert low["discrepancy_g"] is None
    assert "1000 g less than its tare" in low["why"]
    assert check_by_scale(store.reader(), "K-1", 300.0)["why"] == "its tare is not known"
    containers.corrected("C-1", 10940.0, "weighed")
    assert left(store)["C-1"] == 10940.0


@pytest.mark.parametrize(
    ("act", "says"),
    [
        (lambda c: c.drawn("K-1", 380.0), "K-1: that is 40 g more than it holds, below its tare"),
        (lambda c: c.drawn("X", 1.0), "X: it is not in the ledger"),
        (lambda c: c.drawn("C-1", -5.0), "C-1: -5.0 is not a mass"),
        (lambda c: c.drawn("C-1", float("nan")), "C-1: nan is not a mass"),
        (lambda c: c.recovered("K-1", 100.0), "K-1: a can is not refilled"),
        (lambda c: c.sent("R-1", 50.0, "Example", "Road", None), "R-1: that is 50 g more than it holds"),
        (lambda c: c.sent("C-1", 50.0, "Example", " ", None), "C-1: write the name and the address"),
        (lambda c: c.corrected("C-1", 50.0, ""), "C-1: write why"),
        (lambda c: c.corrected("C-1", -50.0, "x"), "C-1: -50.0 is not a mass"),
        (lambda c: c.add("C-1", "can", "R-134a"), "C-1: it is in the ledger already"),
        (lambda c: c.add("Z", "bottle", "R-134a"), "Z: kind 'bottle' is not known"),
        (lambda c: c.add("Z", "can", "R-134a", tare_g=-1.0), "Z: tare_g -1.0 is not a mass"),
        (lambda c: c.add(" ", "can", "R-134a"), "a container needs a label"),
    ],
)
def test_what_the_ledger_cannot_take_is_one_line_and_changes_nothing(store, containers, act, says):
    before = ledger(store.reader())
    with pytest.raises(ContainerError, match=says) as error:
        act(containers)
    assert "\n" not in str(error.value)
    assert ledger(store.reader()) == before


def test_a_container_of_another_refrigerant_is_refused(store, containers):
    session_id = session(store, refrigerant="R-1234yf")
    with pytest.raises(ContainerError, match="it holds R-134a, session cart-1-00001 is of R-1234yf"):
        containers.drawn("C-1", 400.0, session_id)


def test_a_decision_is_kept_with_the_session(store):
    session_id = session(store)
    decide(store, session_id, "returned", "R. Two", "the hold is missing", "2024-06-12T08:00:00Z")
    decide(store, session_id, "signed", "R. Two")
    found = store.reader().session(session_id)
    assert [d["decision"] for d in found["decisions"]] == ["returned", "signed"]
    assert found["decision"] == store.reader().sessions()[0]["decision"] == "signed"


def test_a_decision_that_cannot_be_is_one_line(store):
    session_id = session(store)
    for decision, reviewer, note, says in (
        ("perhaps", "R", "", "decision 'perhaps' is not known"),
        ("signed", " ", "", "write who decides"),
        ("returned", "R", "", "why it is returned"),
    ):
        with pytest.raises(StoreError, match=says):
            decide(store, session_id, decision, reviewer, note)
    open_id = store.create_session(SETUP, CHANNELS, None, {})
    with pytest.raises(StoreError, match=f"session {open_id} is open"):
        decide(store, open_id, "signed", "R")
    with pytest.raises(StoreError, match="session none is not in the store"):
        decide(store, "none", "signed", "R")


def test_only_what_is_old_signed_and_sent_is_deleted(store):
    now_utc = "2024-07-01T00:00:00Z"
    old, unreviewed, returned, unsent = (session(store) for _ in range(4))
    young, undated = session(store, "2024-06-30T00:00:00Z"), session(store, None)
    for session_id in (old, unsent, young, undated):
        decide(store, session_id, "signed", "R")
    decide(store, returned, "signed", "R")
    decide(store, returned, "returned", "R", "look again")
    store.add_alert(unsent, ALERT)
    store.commit()
    assert disposable(store.reader(), 10, now_utc) == [old]
    assert prune(store, 10, now_utc) == [old]
    left_over = {row["session_id"] for row in store.reader().sessions()}
    assert left_over == {unreviewed, returned, unsent, young, undated}
    for table in ("channel", "chunk", "second", "decision"):
        column = store.reader().rows(f"SELECT DISTINCT session FROM {table}")
        assert 1 not in [row["session"] for row in column]
    Outbox(store).done(Outbox(store).pending()[0][0])
    store.commit()
    assert prune(store, 10, now_utc) == [unsent]
    for days in (0, float("nan"), float("inf")):
        with pytest.raises(StoreError, match=f"{days:g} days: keep"):
            prune(store, days, now_utc)
    with pytest.raises(StoreError, match="is not in the store"):
        store.set_findings(old, {})


def test_a_photo_is_kept_and_anything_else_refused(store):
    session_id = session(store)
    photo = b"\xff\xd8\xff" + b"x" * 100
    attach(store, session_id, "placard", "image/jpeg", photo, 2.0)
    listed = store.reader().session(session_id)["attachments"]
    assert [(a["kind"], a["media_type"], a["t_s"]) for a in listed] == [("placard", "image/jpeg", 2.0)]
    assert store.reader().attachment(session_id, listed[0]["id"]) == ("image/jpeg", photo)
    with pytest.raises(StoreError, match="the picture is not image/png"):
        attach(store, session_id, "placard", "image/png", photo)
    with pytest.raises(StoreError, match="the picture has 9 MB"):
        attach(store, session_id, "placard", "image/jpeg", photo + bytes(9 << 20))
    with pytest.raises(StoreError, match="no attachment 99"):
        store.reader().attachment(session_id, 99)
