"""What a session's row says about it at a glance, drawn from its description and its findings."""

from __future__ import annotations

from collections.abc import Mapping

from logger.record.errors import StoreError
from logger.record.json_text import dump_json
from logger.session.setup import FORMAT, VERSION, SessionSetup, SetupError


def describe(setup: Mapping, channels: Mapping[str, Mapping], started_utc: str | None, number: int) -> dict:
    """The session.json of a session that begins now; its id is made of cart and count where the setup has none."""
    cart_id = setup.get("cart_id") or "cart"
    made = {
        "format": FORMAT,
        "version": VERSION,
        "session_id": setup.get("session_id") or f"{cart_id}-{number:05d}",
        "cart_id": cart_id,
        "started_utc": started_utc,
    }
    kept = {key: value for key, value in setup.items() if key not in made and key != "channels"}
    plain = {name: {"unit": channel["unit"], "rate_hz": channel["rate_hz"]} for name, channel in channels.items()}
    document = {**made, **kept, "channels": plain}
    try:
        SessionSetup.from_json(document)
        dump_json(document)
    except (SetupError, ValueError, TypeError) as error:
        raise StoreError(f"session {made['session_id']}: {error}") from None
    return document


def summary_of_setup(document: Mapping) -> tuple:
    """started_utc, refrigerant, target_g, vehicle (JSON), and the words by which a search finds it."""
    setup = SessionSetup.from_json(document)
    words = [setup.session_id, setup.cart_id, setup.refrigerant, setup.started_utc or "", *setup.vehicle.values()]
    words += [value for value in document.values() if isinstance(value, str)]
    found = " ".join(dict.fromkeys(word.casefold() for word in words))
    return (setup.started_utc, setup.refrigerant, setup.target_g, dump_json(dict(setup.vehicle)), found)


def summary_of_findings(findings: Mapping) -> tuple:
    """delivered_g, uncertainty_g, within_placard, duration_s; None where the findings do not say."""
    charge = findings.get("charge") or {}
    return (
        charge.get("delivered_g"),
        charge.get("uncertainty_g"),
        charge.get("within_placard"),
        findings.get("duration_s") or 0.0,
    )
