"""session.json: what it must hold, key by key."""

from __future__ import annotations

import difflib
import json
import re
import sys
from datetime import datetime

from firmware_bridge.blocks import CHANNEL_UNITS
from logger.record.errors import RecordingError
from logger.record.json_text import load_json
from logger.session.setup import FORMAT, VERSION, SessionSetup, SetupError

_UTC = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?Z")


def parse_session(raw: bytes) -> dict:
    """The object, unknown keys and all. Raises RecordingError, one line that names the key."""
    try:
        session = load_json(raw.decode("utf-8-sig"))
    except UnicodeDecodeError:
        raise RecordingError("session.json is not UTF-8: save it as UTF-8") from None
    except json.JSONDecodeError as error:
        where = f"line {error.lineno} column {error.colno}"
        raise RecordingError(f"session.json {where}: {error.msg}: it must be one JSON object") from None
    except (ValueError, RecursionError) as error:
        raise RecordingError(f"session.json: {error}") from None
    if not isinstance(session, dict):
        raise RecordingError("session.json must be one JSON object")
    check_session(session)
    return session


def check_session(session: dict) -> None:
    """Raises RecordingError for the first thing wrong with it."""
    _check_format(session)
    for key in ("session_id", "cart_id"):
        if not isinstance(session.get(key), str) or not session[key].strip():
            raise RecordingError(f"session.json: {key} is {session.get(key)!r}: write a text that is not empty")
    _check_started(session)
    try:
        SessionSetup.from_json(session)
    except SetupError as error:
        raise RecordingError(f"session.json: {error}") from None
    if not isinstance(session.get("refrigerant"), str) or not session["refrigerant"]:
        raise RecordingError('session.json: refrigerant is missing: write its ASHRAE 34 number, such as "R-134a"')
    _check_channels(session.get("channels"))


def _check_format(session: dict) -> None:
    if session.get("format") != FORMAT:
        raise RecordingError(f'session.json: format is {session.get("format")!r}: it must be "{FORMAT}"')
    version = session.get("version")
    if isinstance(version, int) and not isinstance(version, bool) and version > VERSION:
        raise RecordingError(f"session.json: version {version} is newer than {VERSION}: update this program")
    if version != VERSION or isinstance(version, bool):
        raise RecordingError(f"session.json: version is {version!r}: it must be {VERSION}")


def _check_started(session: dict) -> None:
    if "started_utc" not in session:
        raise RecordingError("session.json: started_utc is missing: write null where the clock was not trusted")
    started = session["started_utc"]
    if started is None:
        return
    try:
        ok = isinstance(started, str) and _UTC.fullmatch(started) and datetime.fromisoformat(started)
    except ValueError:
        ok = False
    if not ok:
        raise RecordingError(f"session.json: started_utc is {started!r}: write it as 2024-06-11T08:15:00Z, or null")


def _check_channels(channels: object) -> None:
    if not isinstance(channels, dict) or not channels:
        raise RecordingError('session.json: channels must be an object such as {"scale": {"unit": "g", "rate_hz": 10}}')
    for name, channel in channels.items():
        if name not in CHANNEL_UNITS:
            near = difflib.get_close_matches(name, CHANNEL_UNITS, 1) or ["one of " + ", ".join(CHANNEL_UNITS)]
            raise RecordingError(f"session.json: channels.{name} is not a known channel: did you mean {near[0]}?")
        if not isinstance(channel, dict):
            raise RecordingError(f'session.json: channels.{name} must be an object with "unit" and "rate_hz"')
        if channel.get("unit") != CHANNEL_UNITS[name]:
            raise RecordingError(
                f"session.json: channels.{name}.unit is {channel.get('unit')!r}: "
                f"values of {name} must be in {CHANNEL_UNITS[name]!r}"
            )
        _check_rate(name, channel.get("rate_hz"))


def _check_rate(name: str, rate_hz: object) -> None:
    number = isinstance(rate_hz, (int, float)) and not isinstance(rate_hz, bool)
    if not number or not abs(rate_hz) <= sys.float_info.max or rate_hz <= 0:
        raise RecordingError(f"session.json: channels.{name}.rate_hz is {rate_hz!r}: write readings a second, above 0")
