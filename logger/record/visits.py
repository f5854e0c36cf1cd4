"""Earlier sessions of the same vehicle, found by index: those before a session, so that its report stays as it is when
later ones come."""

from __future__ import annotations

import json
from collections.abc import Mapping

from logger.record.reader import StoreReader
from logger.record.schema import REGISTRATION, VIN, plain_name
from logger.session.earlier_visits import MOST, before
from logger.session.vehicle_name import VehicleName, vehicle_name

_PARTS = ("charge", "recovered", "evacuation.lowest_pa", "job", "performance.patterns")
_BEFORE = """AND CASE WHEN started_utc IS NULL OR ?3 IS NULL THEN id < ?4
    ELSE (started_utc, id) < (?3, ?4) END"""
"""Where the time of one of the two is not known, their order in the record decides."""
SQL = f"""
SELECT session_id, started_utc, refrigerant, vehicle,
    json_extract(coalesce(findings, '{{}}'), {", ".join(f"'$.{path}'" for path in _PARTS)}) AS parts
FROM session
WHERE ({VIN} = {plain_name("?1")} OR {REGISTRATION} = {plain_name("?2")}) AND open = 0 %s
ORDER BY started_utc DESC, id DESC LIMIT {MOST}"""  # noqa: S608  # nosec B608 - of the constants above


def before_session(reader: StoreReader, session: Mapping, findings: Mapping | None) -> dict:
    """{"before": …, "before_why": …} of a session as `StoreReader.session` gives it; findings as far as it has come.
    Raises StoreError."""
    name = vehicle_name((findings or {}).get("job") or {}, session["vehicle"])
    (row,) = reader.rows("SELECT id FROM session WHERE session_id = ?", session["session_id"])
    return before((session, findings or {}), _earlier(reader, name, _BEFORE, session["started_utc"], row["id"]))


def before_now(reader: StoreReader, vehicle: Mapping, now_utc: str | None) -> dict:
    """The same for a vehicle that is only just named: keys vin and registration."""
    session = {"session_id": None, "started_utc": now_utc, "vehicle": vehicle, "open": True}
    return before((session, {}), _earlier(reader, vehicle_name({}, vehicle), ""))


def _earlier(reader: StoreReader, name: VehicleName, which: str, *at: object) -> list[tuple[dict, dict]]:
    """Newest first, those of this vehicle by VIN or registration."""
    if not name:
        return []
    return [_told(row) for row in reader.rows(SQL % which, name.vin or None, name.registration or None, *at)]


def _told(row) -> tuple[dict, dict]:
    charge, recovered, lowest_pa, job, patterns = json.loads(row["parts"])
    summary = {key: row[key] for key in ("session_id", "started_utc", "refrigerant")}
    findings = {
        "charge": charge,
        "recovered": recovered,
        "evacuation": {"lowest_pa": lowest_pa},
        "job": job,
        "performance": {"patterns": patterns},
    }
    return {**summary, "vehicle": json.loads(row["vehicle"])}, findings
