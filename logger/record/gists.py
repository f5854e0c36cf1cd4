"""Of every session just what a review of the whole shop needs, picked out by SQLite so that thousands come at once."""

from __future__ import annotations

import json
from collections.abc import Iterator

from logger.record.reader import StoreReader

_CHARGE = ("delivered_g", "target_g", "uncertainty_g", "stop_alert_t_s", "flow_ended_t_s")
_WHOLE = ("recovered", "job", "stages", "duration_s", "review", "alerts")
_PATHS = [*(f"charge.{key}" for key in _CHARGE), "evacuation.lowest_pa", *_WHOLE]
_SQL = f"""
SELECT session_id, started_utc, vehicle, json_extract(findings, {", ".join(f"'$.{path}'" for path in _PATHS)}) AS parts
FROM session WHERE findings IS NOT NULL AND open = 0
ORDER BY coalesce(started_utc, '9999') DESC, id DESC"""  # noqa: S608  # nosec B608 - of the constants above


_LAGS = """
SELECT json_extract(findings, '$.charge.flow_ended_t_s') - json_extract(findings, '$.charge.stop_alert_t_s') AS lag_s
FROM session
WHERE findings IS NOT NULL AND open = 0 AND imported = 0 AND cart_id = ?
    AND coalesce(json_extract(setup, '$.close_lag_from'), '') <> 'valve'
ORDER BY id"""


def stop_lags(reader: StoreReader, cart_id: str) -> list[float]:
    """Seconds from the stop alert to the end of the flow, oldest first, of the sessions that this cart itself closed
    and that a hand ended, not a charging valve."""
    return [row["lag_s"] for row in reader.rows(_LAGS, cart_id) if row["lag_s"] is not None]


def session_gists(reader: StoreReader) -> Iterator[tuple[dict, dict]]:
    """Summary (session_id, started_utc, vehicle) and those parts of the findings, closed sessions, newest first."""
    for row in reader.rows(_SQL):
        parts = json.loads(row["parts"])
        charge, lowest_pa, whole = parts[: len(_CHARGE)], parts[len(_CHARGE)], parts[len(_CHARGE) + 1 :]
        findings = {
            "charge": dict(zip(_CHARGE, charge, strict=True)),
            "evacuation": {"lowest_pa": lowest_pa},
            **dict(zip(_WHOLE, whole, strict=True)),
        }
        summary = {"session_id": row["session_id"], "started_utc": row["started_utc"]}
        yield summary | {"vehicle": json.loads(row["vehicle"])}, findings
