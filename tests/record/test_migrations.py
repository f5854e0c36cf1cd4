"""A store of an older schema goes forward with a copy kept, or stays as it is."""

from __future__ import annotations

import sqlite3

import pytest
from sqlite_utils import Migrations
from store_making import CHANNELS, SETUP, assert_holds, look

from logger.record import migrations, opening, visits
from logger.record.store import Store, StoreError, StoreReader
from logger.record.visits import before_now

NOW = opening.SCHEMA_VERSION


@pytest.fixture
def older(tmp_path):
    """The path of a store of the schema known now with a session of one second."""
    store = Store.open(tmp_path / "tarebook.db")
    session_id = store.create_session(SETUP, CHANNELS, None, {})
    store.append(session_id, look(0))
    store.close()
    return store.path


def next_schema(monkeypatch, statement: str) -> None:
    """As if this program knew one schema more, reached by one more statement."""
    steps = Migrations("tarebook")
    steps(name="m001_first")(migrations.m001_first)
    steps(name="m002_container_limits")(migrations.m002_container_limits)
    steps(name="m003_vehicles")(migrations.m003_vehicles)

    def further(db) -> None:
        db.execute("CREATE TABLE tool (name TEXT)")
        db.execute(statement)
        db.execute(f"PRAGMA user_version = {NOW + 1}")

    steps(name="further")(further)
    monkeypatch.setattr(migrations, "steps", steps)
    monkeypatch.setattr(opening, "SCHEMA_VERSION", NOW + 1)


def version(path) -> int:
    plain = sqlite3.connect(path)
    try:
        return plain.execute("PRAGMA user_version").fetchone()[0]
    finally:
        plain.close()


def test_it_goes_forward_and_keeps_a_copy(older, monkeypatch):
    next_schema(monkeypatch, "INSERT INTO tool VALUES ('pump')")
    store = Store.open(older)
    assert store.open_session_id() == "cart-1-00001"
    assert [row["name"] for row in store.reader().rows("SELECT name FROM tool")] == ["pump"]
    store.close()
    copy = older.with_name(f"tarebook.db.schema-{NOW}")
    assert (version(older), version(copy)) == (NOW + 1, NOW)
    assert_holds(StoreReader(copy), "cart-1-00001", [look(0)])


def test_a_step_that_fails_changes_nothing(older, monkeypatch):
    next_schema(monkeypatch, "INSERT INTO no_such_table VALUES (1)")
    with pytest.raises(StoreError, match="no_such_table"):
        Store.open(older)
    assert version(older) == NOW
    assert_holds(StoreReader(older), "cart-1-00001", [look(0)])
    monkeypatch.undo()
    again = Store.open(older)
    with pytest.raises(StoreError, match="no such table"):
        again.reader().rows("SELECT * FROM tool")
    again.close()


def test_a_store_of_the_first_schema_finds_vehicles_by_index(tmp_path, monkeypatch):
    """Readable as it is; once a writer has opened it, the query of earlier visits goes by the two indexes."""
    first = Migrations("tarebook")
    first(name="m001_first")(migrations.m001_first)
    with monkeypatch.context() as patch:
        patch.setattr(migrations, "steps", first)
        patch.setattr(opening, "SCHEMA_VERSION", 1)
        store = Store.open(tmp_path / "tarebook.db")
        store.close_session(store.create_session(SETUP, CHANNELS, "2024-03-01T08:00:00Z", {}))
        store.close()
    seen = before_now(StoreReader(store.path), {"registration": "ab100%"}, None)
    assert [visit["session_id"] for visit in seen["before"]["visits"]] == ["cart-1-00001"]
    Store.open(store.path).close()
    assert version(store.path) == NOW
    assert before_now(StoreReader(store.path), {"registration": "ab100%"}, None) == seen
    plan = StoreReader(store.path).rows("EXPLAIN QUERY PLAN " + visits.SQL % "", "V", "R")
    told = " ".join(row["detail"] for row in plan)
    assert "session_by_vin" in told and "session_by_registration" in told and "SCAN" not in told
