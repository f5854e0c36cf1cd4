"""JSON schemas of what the program sends and takes, as the OpenAPI document names them."""

from __future__ import annotations

from logger.session.job import CHECKS

NUMBER = {"type": "number"}
MAYBE_NUMBER = {"type": ["number", "null"]}
TEXT = {"type": "string"}
MAYBE_TEXT = {"type": ["string", "null"]}
NUMBERS = {"type": "array", "items": MAYBE_NUMBER}


def ref(name: str) -> dict:
    """A pointer to one of SCHEMAS."""
    return {"$ref": f"#/components/schemas/{name}"}


def _object(required: list[str], **properties: dict) -> dict:
    return {"type": "object", "required": required, "properties": properties}


def _list(item: dict) -> dict:
    return {"type": "array", "items": item}


SEVERITY = {"enum": ["notice", "caution", "danger"]}

SCHEMAS = {
    "Problem": _object(
        ["type", "title", "status", "detail"],
        type=TEXT,
        title=TEXT,
        status={"type": "integer"},
        detail=TEXT,
        instance=TEXT,
        errors=_list(_object(["field", "detail"], field=TEXT, detail=TEXT)),
    ),
    "Reading": _object(
        ["value", "unit", "age_s", "quality"],
        value=MAYBE_NUMBER,
        unit=TEXT,
        age_s=MAYBE_NUMBER,
        quality={"enum": ["good", "stale", "fault"]},
    ),
    "Alert": _object(
        ["seq", "t_s", "code", "severity", "message"],
        seq={"type": "integer"},
        t_s=MAYBE_NUMBER,
        code=TEXT,
        severity=SEVERITY,
        message=TEXT,
        state={"enum": ["raised", "acknowledged", "cleared"]},
        cleared_t_s=MAYBE_NUMBER,
    ),
    "Charge": {
        "type": ["object", "null"],
        "properties": dict.fromkeys(
            ["target_g", "delivered_g", "remaining_g", "flow_g_per_s", "seconds_to_stop"], MAYBE_NUMBER
        ),
    },
    "Now": _object(
        ["t_utc", "session_id", "stage", "clock_trusted", "channels", "charge", "alerts"],
        t_utc=MAYBE_TEXT,
        session_id=MAYBE_TEXT,
        stage=TEXT,
        clock_trusted={"type": "boolean"},
        channels={"type": "object", "additionalProperties": ref("Reading")},
        charge=ref("Charge"),
        alerts=_list(ref("Alert")),
        glance=ref("Glance"),
    ),
    "Glance": _object(["do", "hero"], do=TEXT, hero={"enum": ["remaining", "vacuum", "weight", "vent"]}),
    "SessionRow": _object(["session_id", "open"], session_id=TEXT, started_utc=MAYBE_TEXT, open={"type": "boolean"}),
    "Visits": _object(["before", "before_why"], before={"type": ["object", "null"]}, before_why=TEXT),
    "Sessions": _object(["sessions"], sessions=_list(ref("SessionRow"))),
    "Findings": {"type": "object", "required": ["session_id", "charge", "alerts", "review"]},
    "Readings": _object(["t_s", "low", "high", "mean"], t_s=NUMBERS, low=NUMBERS, high=NUMBERS, mean=NUMBERS),
    "Moments": _object(["moments"], moments=_list(ref("Now"))),
    "NewSession": _object(
        [],
        refrigerant=TEXT,
        placard={"oneOf": [TEXT, {"type": "object"}], "description": "as typed on the label, or a recording's object"},
        target_g=NUMBER,
        hose_volume_ml=NUMBER,
        system_volume_ml=NUMBER,
        close_lag_s=NUMBER,
        container_nominal_g=NUMBER,
        vehicle={"type": "object", "additionalProperties": TEXT},
    ),
    "Mark": _object(["mark"], mark=TEXT, detail={"type": "object"}),
    "Opened": _object(["session_id"], session_id=TEXT),
    "Done": _object(["done"], done={"type": "boolean"}, t_s=NUMBER),
    "Valve": _object(["open", "why"], open={"type": "boolean"}, why=TEXT),
    "ValveOrder": _object(["open"], open={"type": "boolean"}),
    "Scale": _object(
        ["class", "e_g", "tare_g", "drift", "message", "check", "checks"],
        **{"class": MAYBE_TEXT},
        e_g=MAYBE_NUMBER,
        tare_g=MAYBE_NUMBER,
        drift={"type": "boolean"},
        message=TEXT,
        check=_object(["due", "words"], due={"type": "boolean"}, words=TEXT),
        checks=_list(_object(["at_utc", "what"], at_utc=TEXT, what={"enum": ["empty", "check-weight"]})),
    ),
    "PlacardRead": _object(["low_g", "high_g"], low_g=NUMBER, high_g=NUMBER, target_g=NUMBER, plan={"type": "object"}),
    "Job": {"type": "object", "properties": dict.fromkeys(CHECKS, {})},
    "Container": _object(["label", "kind", "refrigerant", "left_g"], label=TEXT, kind=TEXT, left_g=MAYBE_NUMBER),
    "Containers": _object(["containers"], containers=_list(ref("Container"))),
    "ShopReview": _object(["sessions", "charge_error", "stop_lag", "repeat_vehicles", "stages", "criteria"]),
    "Cautions": _object(["stage", "cautions"], stage=TEXT, cautions=_list({"type": "object"})),
    "PairingCode": _object(["code"], code=TEXT),
    "PairingToken": _object(["token"], token=TEXT),
    "Health": _object(
        ["status"], status={"enum": ["ok"]}, parts={"type": "object", "additionalProperties": {"type": "string"}}
    ),
}
