"""What one glance must give: the line that says what to do now, and which figure is the large one."""

from __future__ import annotations

HANDS_ON_VALVE_S = 20.0
FLOWING_G_PER_S = 0.2

BY_STAGE = {
    "": "Connect, put the container on the scale, start a session.",
    "identification": "Identify the refrigerant before anything is connected to it.",
    "recovery": "Recover until the pressure stays down, then evacuate.",
    "pressure_hold": "Dry nitrogen by regulator only. Shut it and let it stand.",
    "evacuation": "Keep the pump running until the pressure stays below the mark.",
    "vacuum_hold": "Pump isolated: leave every valve shut while the hold is judged.",
    "oil_and_dye": "Add the oil and dye the vehicle maker names.",
    "performance": "Doors open, fan high, coldest setting: let it settle.",
    "closed": "Closed. Shut the container, then take off the hoses.",
}
HOLD_LINES = {
    "tight": "Tight, as far as this hold can tell: go on.",
    "leak": "It leaks: find and mend it before anything goes in.",
    "moisture": "Water is still in it: evacuate longer, then hold again.",
}
HOLD_BY_STAGE = {"pressure_hold": "pressure_hold", "vacuum_hold": "hold"}
HERO_BY_STAGE = {"pressure_hold": "low_side", "evacuation": "vacuum", "vacuum_hold": "vacuum", "performance": "vent"}
CHANNEL_OF_HERO = {"low_side": "low_side", "vacuum": "vacuum", "vent": "vent_temp"}
RANK = {"danger": 0, "caution": 1, "notice": 2}


def standing(alerts: list[dict]) -> list[dict]:
    """Alerts that are not cleared, the gravest first, unacknowledged before acknowledged, newest first."""
    open_ones = [a for a in alerts if a.get("state") != "cleared" and a.get("cleared_t_s") is None]
    return sorted(
        open_ones,
        key=lambda a: (
            a.get("state") == "acknowledged",
            a.get("code") != "stop-charging",
            RANK.get(a["severity"], 3),
            -a["seq"],
        ),
    )


def _charging(charge: dict, codes: set[str]) -> str:
    remaining, flow, to_stop = (charge.get(k) for k in ("remaining_g", "flow_g_per_s", "seconds_to_stop"))
    flowing = (flow or 0.0) > FLOWING_G_PER_S
    if "stop-charging" in codes:
        return "Close the container valve now."
    if "container-empty" in codes:
        return "Container empty: close its valve, then change it."
    if remaining is None:
        return "No target: nobody will say stop. Weigh with care."
    if remaining <= 0:
        return "Past the target: close the valve." if flowing else "Target reached. Leave the valve closed."
    if not flowing:
        return "Nothing flows: open the container valve."
    if to_stop is not None and to_stop <= HANDS_ON_VALVE_S:
        return "Hand on the valve. Close it at the signal."
    return "Filling. Leave the valve as it is."


def _hold(stage: str, hold: dict | None) -> str:
    return HOLD_LINES.get((hold or {}).get("verdict"), BY_STAGE[stage])


def do_now(now: dict) -> str:
    """One line for the technician; carries no quantity, since every reader has units of his own."""
    first = next(iter(standing(now.get("alerts") or [])), None)
    codes = {a["code"] for a in now.get("alerts") or [] if a.get("state", "raised") == "raised"}
    if first and first["severity"] == "danger" and first.get("state", "raised") == "raised":
        return first["message"]
    stage = (now.get("stage") or "") if now.get("session_id") else ""
    if stage == "charging":
        return _charging(now.get("charge") or {}, codes)
    if stage in HOLD_BY_STAGE:
        return _hold(stage, (now.get("physics") or {}).get(HOLD_BY_STAGE[stage]))
    static = (now.get("physics") or {}).get("static")
    if stage == "identification" and static:
        return f"The circuit, {static['words']}."
    if not stage and now.get("session_id"):
        return "Session open: choose the stage you begin with."
    return BY_STAGE.get(stage, "")


def hero(now: dict) -> str:
    """Which figure is large: what is left to charge, the low side, the vacuum, the vent air, or the weight."""
    stage, charge = now.get("stage") or "", now.get("charge") or {}
    wanted = HERO_BY_STAGE.get(stage)
    if wanted and CHANNEL_OF_HERO[wanted] in now["channels"]:
        return wanted
    return "remaining" if charge.get("remaining_g") is not None and stage != "recovery" else "weight"


def with_glance(now: dict) -> dict:
    """`now` and its glance."""
    return {**now, "glance": {"do": do_now(now), "hero": hero(now)}}
