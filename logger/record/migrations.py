"""Steps from one schema version to the next; each is applied whole or not at all."""

from __future__ import annotations

import sqlite3
from pathlib import Path

from sqlite_utils import Database, Migrations

from logger.record.schema import APPLICATION_ID, BY_VEHICLE, FIRST

steps = Migrations("tarebook")


@steps()
def m001_first(db: Database) -> None:
    """Sessions, their readings, marks and alerts, settings, decisions, attachments, the container ledger."""
    for statement in FIRST:
        db.execute(statement)
    db.execute(f"PRAGMA application_id = {APPLICATION_ID}")
    db.execute("PRAGMA user_version = 1")


@steps()
def m002_container_limits(db: Database) -> None:
    """What is stamped on a container beside its tare, and whether air was found in it."""
    db.execute("ALTER TABLE container ADD COLUMN water_capacity_g REAL")
    db.execute("ALTER TABLE container ADD COLUMN air_check TEXT")
    db.execute("PRAGMA user_version = 2")


@steps()
def m003_vehicles(db: Database) -> None:
    """Sessions by their vehicle."""
    for statement in BY_VEHICLE:
        db.execute(statement)
    db.execute("PRAGMA user_version = 3")


def migrate(path: Path) -> None:
    """Bring the store at `path` (or a new one) to the newest schema. Raises sqlite3.Error, the store unchanged."""
    connection = sqlite3.connect(path)
    try:
        connection.execute("PRAGMA journal_mode = WAL")
        steps.apply(Database(connection))
    finally:
        connection.close()
