"""What the demonstration says in the terminal: where to look, how it goes, how it ended."""

from __future__ import annotations

import io

from logger.findings_text import alert_lines, clock

STAGE_WORDS = {
    "": "getting ready",
    "identification": "identification",
    "recovery": "recovering what is left",
    "pressure_hold": "holding nitrogen pressure",
    "evacuation": "evacuating",
    "vacuum_hold": "holding the vacuum",
    "oil_and_dye": "oil and dye",
    "charging": "charging",
    "performance": "looking at the performance",
    "closed": "closed",
}


def welcome(url: str, shown: str, speed: float, broker: str, pairing_code: str) -> str:
    """The first lines: `url` to open, `shown` the same as reached from a phone, for the code."""
    return "\n".join(
        [
            f"A virtual cart, {speed:g} times real time. Its sensors are emulated at the wire; all else is real.",
            f"Messages    {broker}",
            f"Page        {url}",
            f"Pairing     code {pairing_code}",
            qr_code(shown),
        ]
    )


def qr_code(text: str) -> str:
    """`text` as a QR code in half-height characters."""
    import segno

    drawn = io.StringIO()
    segno.make(text, error="l").terminal(out=drawn, compact=True, border=2)
    return drawn.getvalue().rstrip("\n")


def progress(now: dict) -> str:
    """One line of how it goes, from the cart's snapshot."""
    stage, channels, charge = now.get("stage") or "", now.get("channels") or {}, now.get("charge") or {}
    parts = [f"{clock(now.get('t_s') or 0.0):>6}", f"{STAGE_WORDS.get(stage, stage):<26}"]
    if stage == "charging" and charge.get("delivered_g") is not None:
        parts.append(f"{charge['delivered_g']:6.1f} of {charge.get('target_g') or 0:.0f} g")
        if charge.get("seconds_to_stop") is not None:
            parts.append(f"stop in {charge['seconds_to_stop']:.0f} s")
    elif stage in ("evacuation", "vacuum_hold"):
        parts.append(_value(channels, "vacuum", "Pa", 1))
    elif stage == "recovery":
        parts.append(_value(channels, "scale", "g", 0))
    else:
        parts += [_value(channels, "low_side", "kPa", 0), _value(channels, "high_side", "kPa", 0)]
    return "  ".join(part for part in parts if part)


def result(findings: dict, truth: dict, kept_in: str) -> str:
    """The result: target, delivered with its uncertainty, error against what truly went in, alerts, where it lies."""
    charge, true_charge = findings.get("charge") or {}, truth.get("charge") or {}
    lines = ["", f"Target      {_grams(charge.get('target_g'))}"]
    delivered, true_g = charge.get("delivered_g"), true_charge.get("delivered_g")
    if delivered is None:
        lines.append(f"Delivered   not judged: {charge.get('why') or 'no reason given'}")
    else:
        lines.append(f"Delivered   {delivered:.1f} ± {charge.get('uncertainty_g') or 0:.1f} g (k = 2)")
    if delivered is not None and true_g is not None:
        lines.append(f"In truth    {true_g:.1f} g went in: weighed {delivered - true_g:+.1f} g off")
    if true_g is not None and charge.get("target_g") is not None:
        lines.append(f"Fill        {true_g - charge['target_g']:+.1f} g off target")
    for hold in findings.get("vacuum_hold") or []:
        lines.append(f"Hold        {hold['verdict']}")
    lines += ["Alerts", *alert_lines(findings.get("alerts"))] if findings.get("alerts") else ["Alerts      none"]
    return "\n".join([*lines, f"Kept        session {findings.get('session_id')} in {kept_in}", ""])


def _value(channels: dict, name: str, unit: str, digits: int) -> str:
    value = (channels.get(name) or {}).get("value")
    return "" if value is None else f"{name.replace('_', ' ')} {value:.{digits}f} {unit}"


def _grams(mass_g: float | None) -> str:
    return "none" if mass_g is None else f"{mass_g:.1f} g"
