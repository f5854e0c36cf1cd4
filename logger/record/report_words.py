"""The report in words: the result as one would say it to the customer."""

from __future__ import annotations

from collections.abc import Mapping

from logger.record.report_data import ReportData
from logger.record.report_units import Units, figures, number
from logger.session.review import overall

BESIDE = (
    "Instrument and record beside approved service equipment and certified people, never in their place. Local codes, "
    "the vehicle maker's data and licensed practice come first. Masses are for the service and its record, not for "
    "trade."
)
VERDICTS = {
    "pass": "In order",  # nosec B105 - no password
    "marginal": "In order, with remarks",
    "fail": "Not in order",
    "not-judged": "Not judged",
}
HELD = {
    "tight": "tight, as far as such a test can see.",
    "leak": "it leaks.",
    "moisture": "no leak stands out, but water is still inside; it has to be evacuated further.",
}
STAGES = {
    "identification": "identification",
    "recovery": "recovery",
    "pressure_hold": "pressure",
    "evacuation": "evacuation",
    "vacuum_hold": "hold",
    "oil_and_dye": "oil, dye",
    "charging": "charge",
    "performance": "performance",
}


def verdict(data: ReportData) -> str:
    return overall(data.findings["review"])


def headline(data: ReportData, units: Units) -> str:
    """What the charge came to, in one sentence."""
    charge, refrigerant = data.charge, data.setup.get("refrigerant") or "refrigerant"
    if not data.charged:
        return "No refrigerant was charged in this session."
    u = charge.get("uncertainty_g")
    sure = "" if u is None else f" (± {units.mass_text(u, 2 if units.us else 1)})"
    return f"{units.mass_text(charge['delivered_g'])} of {refrigerant} went in{sure}. {_against_label(data, units)}"


def lines(data: ReportData, units: Units) -> list[tuple[str, str]]:
    """What else there is to say, each with its heading."""
    found = [
        ("As found", _found(data, units)),
        ("Here before", _before(data, units)),
        ("Recovered", _recovered(data, units)),
        ("Pressure hold", _pressure_hold(data, units)),
        ("Vacuum", _vacuum(data, units)),
        ("Vacuum hold", _hold(data, units)),
        ("Running check", _performance(data, units)),
        ("Alerts", _alerts(data)),
        ("Work done", _work(data, units)),
        ("Leak search", _leak(data)),
    ]
    return [(head, words) for head, words in found if words]


def particulars(data: ReportData, units: Units) -> list[tuple[str, str]]:
    """Vehicle, day and people: heading and text."""
    vehicle, job = data.setup.get("vehicle") or {}, data.job
    odometer = units.distance_text(job["odometer_km"]) if job.get("odometer_km") is not None else ""
    name = " ".join(str(vehicle[key]) for key in ("make", "model", "year") if vehicle.get(key))
    found = [
        ("Vehicle", name),
        ("Registration", job.get("registration") or vehicle.get("registration") or ""),
        ("VIN", job.get("vin") or vehicle.get("vin") or ""),
        ("Odometer", odometer),
        ("Begun", _when(data)),
        ("Technician", ", certificate ".join(x for x in (job.get("technician"), job.get("certificate")) if x)),
        ("Cart", data.session.get("cart_id") or ""),
        ("Session", data.session["session_id"]),
    ]
    return [(head, text) for head, text in found if text]


def clock(t_s: float | None) -> str:
    """Session time as h:mm:ss; a dash for none."""
    if t_s is None:
        return "–"
    minutes, seconds = divmod(round(t_s), 60)
    return f"{minutes // 60}:{minutes % 60:02}:{seconds:02}"


def _against_label(data: ReportData, units: Units) -> str:
    charge = data.charge
    low, high, delivered = charge.get("placard_low_g"), charge.get("placard_high_g"), charge["delivered_g"]
    if low is None or high is None:
        return "The vehicle's label was not given."
    label = f"The vehicle's label asks for {units.mass_range(low, high)}"
    if low <= delivered <= high:
        return f"{label}: this is within it."
    off = delivered - high if delivered > high else low - delivered
    return f"{label}: this is {units.mass_text(off)} too {'much' if delivered > high else 'little'}."


def _when(data: ReportData) -> str:
    started = data.session.get("started_utc")
    lasted = clock(data.findings.get("duration_s") or 0.0)
    return f"{started[:16].replace('T', ' ')} UTC, lasted {lasted}" if started else f"time unknown, lasted {lasted}"


def _before(data: ReportData, units: Units) -> str:
    """Nothing of a vehicle that was not here before."""
    before = data.before or {}
    return units.reworded(" ".join(before["words"])) if before.get("visits") else ""


def _recovered(data: ReportData, units: Units) -> str:
    recovered = data.findings.get("recovered") or {}
    if recovered.get("mass_g") is None:
        return ""
    u = recovered.get("uncertainty_g")
    sure = "" if u is None else f" (± {units.mass_text(u, 2 if units.us else 1)})"
    words = f"{units.mass_text(recovered['mass_g'])}{sure} came out into the recovery container{_of_label(data)}."
    rest = (data.findings.get("recovery_rest") or {}).get("why")
    return f"{words} {rest[0].upper()}{rest[1:]}." if rest else words


def _of_label(data: ReportData) -> str:
    """How much of a full charge that was: a system that gave back little had leaked."""
    charge = data.charge
    low, high = charge.get("placard_low_g"), charge.get("placard_high_g")
    if not low or not high:
        return ""
    share = data.findings["recovered"]["mass_g"] / ((low + high) / 2.0)
    return f", {share:.0%} of what its label asks for"


def _found(data: ReportData, units: Units) -> str:
    static = data.findings.get("static")
    if not static:
        return ""
    return f"{units.pressure_text(static['pressure_kpa'])} (gauge), {static['words']}."


def _vacuum(data: ReportData, units: Units) -> str:
    evacuation = data.findings.get("evacuation") or {}
    lowest = evacuation.get("lowest_pa")
    if lowest is None:
        return "" if not data.charged else f"Not judged: {evacuation.get('why') or 'no evacuation was seen'}."
    below = (evacuation.get("seconds_below_67_pa") or 0.0) / 60.0
    level = "500 micron" if units.us else "67 Pa"
    water = " It hung where water boils for a while: the circuit was wet." if evacuation.get("water_plateau") else ""
    return f"Pumped down to {units.vacuum_text(lowest)}; {number(below, 0)} min below {level}.{water}"


def _hold(data: ReportData, units: Units) -> str:
    holds = data.findings.get("vacuum_hold") or []
    if not holds:
        return ""
    last = holds[-1]
    held = f"Held for {number((last['end_t_s'] - last['start_t_s']) / 60.0, 0)} min"
    said = HELD.get(last["verdict"])
    return f"{held}: {said}{_smallest(last, units)}" if said else f"{held}, no verdict: {last['why'].rstrip('.')}."


def _pressure_hold(data: ReportData, units: Units) -> str:
    """The last hold under nitrogen: what it showed, and the smallest leak it could have."""
    holds = data.findings.get("pressure_hold") or []
    if not holds:
        return ""
    last = holds[-1]
    held = f"Under dry nitrogen for {number((last['end_t_s'] - last['start_t_s']) / 60.0, 0)} min"
    said = HELD.get(last["verdict"])
    return f"{held}: {said}{_smallest(last, units)}" if said else f"{held}, no verdict: {last['why'].rstrip('.')}."


def _smallest(hold: Mapping, units: Units) -> str:
    """What this hold could not have seen: every hold has such a leak."""
    seen = hold.get("smallest_detectable_g_per_year")
    if hold["verdict"] != "tight" or not seen:
        return ""
    low, high = (figures(units.in_mass(bound), 2) for bound in seen)
    return f" A leak of less than {low} to {high} {units.mass} a year, by its kind, would not have shown."


def _performance(data: ReportData, units: Units) -> str:
    p = data.findings.get("performance") or {}
    if p.get("vent_temp_c") is None and p.get("high_side_kpa") is None:
        return ""
    vent, ambient = (units.temperature_text(p.get(key)) for key in ("vent_temp_c", "ambient_temp_c"))
    low, high = (units.pressure_text(p.get(key)) for key in ("low_side_kpa", "high_side_kpa"))
    said = f"Vent {vent} at {ambient} ambient; low side {low}, high side {high} (gauge)."
    patterns = ", ".join(row["pattern"] for row in p.get("patterns") or [])
    return said + (f" Looks like: {patterns}. A guide only." if patterns else "")


def _alerts(data: ReportData) -> str:
    alerts = data.findings.get("alerts") or []
    dangers = list(dict.fromkeys(a["code"] for a in alerts if a["severity"] == "danger"))
    if dangers:
        return f"{len(alerts)}, among them dangers: {', '.join(dangers)}."
    return f"{len(alerts)} notices and cautions, no danger." if alerts else ""


def _work(data: ReportData, units: Units) -> str:
    job = data.job
    said = [part["part"] for part in job.get("parts") or []]
    said = [f"Replaced: {', '.join(said)}."] if said else []
    oil = sum(part.get("oil_ml") or 0.0 for part in job.get("parts") or [])
    if oil:
        said.append(f"Oil added: {units.volume_text(oil)} {job.get('oil_type') or ''}".rstrip() + ".")
    if job.get("dye_ml"):
        said.append(f"Dye: {units.volume_text(job['dye_ml'])}.")
    if job.get("notes"):
        said.append(job["notes"])
    return " ".join(said)


def _leak(data: ReportData) -> str:
    job = data.job
    said = [job.get(key) or "" for key in ("leak_verdict", "leak_method", "leak_place")]
    if "repair_done" in job:
        said.append(f"repaired: {job.get('repair') or 'yes'}" if job["repair_done"] else "not repaired")
    told = ", ".join(words for words in said if words)
    return f"{told[0].upper()}{told[1:]}." if told else ""
