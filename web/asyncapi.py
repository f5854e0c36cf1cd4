"""The AsyncAPI 3.0 document of what the cart says and hears on a broker, drawn from the table its topics come from.

Specification: https://www.asyncapi.com/docs/reference/specification/v3.0.0; shapes shared with HTTP are those of the
OpenAPI document.
"""

from __future__ import annotations

import re

from logger.publish.topics import KINDS, STATUS_OFFLINE, STATUS_ONLINE, Kind
from web.schemas import MAYBE_NUMBER, MAYBE_TEXT, SCHEMAS, TEXT

ROOT = "tarebook/{cart}"
PARAMETERS = {
    "cart": "the cart's id, as its cart file has it",
    "channel": "the channel's name",
    "session": "the session's id; what means something in a topic is percent-encoded",
    "number": "the chunk's number, from 0 on",
}
WHOLE = {"type": "integer", "minimum": 0}


def _object(required: list[str], **properties: dict) -> dict:
    return {"type": "object", "required": required, "properties": properties}


_READING, _ALERT = SCHEMAS["Reading"], SCHEMAS["Alert"]
MESSAGE_SCHEMAS = {
    "Status": {"enum": [STATUS_ONLINE, STATUS_OFFLINE]},
    "ChannelReading": _object([*_READING["required"], "t_utc"], **_READING["properties"], t_utc=MAYBE_TEXT),
    "SessionState": _object(
        ["session_id", "stage", "target_g", "delivered_g"],
        session_id=MAYBE_TEXT,
        refrigerant=MAYBE_TEXT,
        stage=MAYBE_TEXT,
        **dict.fromkeys(["target_g", "placard_low_g", "placard_high_g", "delivered_g", "remaining_g"], MAYBE_NUMBER),
    ),
    "AlertMessage": _object(
        ["cart_id", "session_id", *_ALERT["required"]],
        **_ALERT["properties"],
        cart_id=TEXT,
        session_id=TEXT,
        subject=MAYBE_TEXT,
    ),
    "Recordings": _object(
        ["cart_id", "sessions"],
        cart_id=TEXT,
        sessions={"type": "object", "additionalProperties": TEXT, "description": "session → version"},
    ),
    "Ask": _object(
        ["session_id"],
        session_id=TEXT,
        chunks={"type": "array", "items": WHOLE, "maxItems": 32, "description": "left out: the head is asked for"},
    ),
    "Head": {
        "type": "object",
        "required": ["session_id"],
        "properties": {
            "session_id": TEXT,
            "version": TEXT,
            "bytes": WHOLE,
            "chunk_bytes": WHOLE,
            "sha256": {"type": "string", "pattern": "^[0-9a-f]{64}$"},
            "crc32": {"type": "array", "items": WHOLE},
            "why": {"type": "string", "description": "instead of the others: why there is no file"},
        },
    },
}


def _channel(name: str, kind: Kind) -> dict:
    address = f"{ROOT}/{kind.address}"
    return {
        "address": address,
        "summary": kind.summary,
        "parameters": {part: {"description": PARAMETERS[part]} for part in re.findall(r"\{(\w+)\}", address)},
        "messages": {name: {"$ref": f"#/components/messages/{name}"}},
    }


def _message(name: str, kind: Kind) -> dict:
    media = {"": "application/octet-stream", "Status": "text/plain"}.get(kind.schema, "application/json")
    payload = {"$ref": f"#/components/schemas/{kind.schema}"} if kind.schema else {"type": "string", "format": "binary"}
    return {"name": name, "summary": kind.summary, "contentType": media, "payload": payload}


def _operation(name: str, kind: Kind) -> dict:
    return {
        "action": "receive" if kind.asked else "send",
        "summary": kind.summary,
        "channel": {"$ref": f"#/channels/{name}"},
        "messages": [{"$ref": f"#/channels/{name}/messages/{name}"}],
        "bindings": {"mqtt": {"qos": kind.qos, "retain": kind.retain, "bindingVersion": "0.2.0"}},
    }


def asyncapi_document(version: str) -> dict:
    """The document, from the cart's side: it sends, and receives what others ask."""
    return {
        "asyncapi": "3.0.0",
        "info": {"title": "Tarebook", "version": version, "description": "One service cart on an MQTT broker"},
        "defaultContentType": "application/json",
        "channels": {name: _channel(name, kind) for name, kind in KINDS.items()},
        "operations": {name: _operation(name, kind) for name, kind in KINDS.items()},
        "components": {
            "messages": {name: _message(name, kind) for name, kind in KINDS.items()},
            "schemas": {**SCHEMAS, **MESSAGE_SCHEMAS},
        },
    }
