"""What is known of a vehicle from before: when it came, what was charged then, what it lost since, what comes back.

Pure: takes the session at hand and the earlier ones of the same vehicle, newest first, as the record gives them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from logger.session.shop_review import Visit, days_between, loss, visit
from logger.session.vehicle_name import VehicleName, vehicle_name

MOST = 50
"""So many earlier visits are looked at."""

UNNAMED = "neither VIN nor registration is noted"
Told = tuple[Mapping, Mapping]
"""A session's summary (session_id, started_utc, vehicle, refrigerant, open) and its findings."""


def before(now: Told, earlier: Sequence[Told]) -> dict:
    """{"before": …, "before_why": …}: visits, the loss since the last that touched the refrigerant, patterns that are
    back, and words; None with a why where the vehicle is not known."""
    name = _name(now)
    if not name:
        return {"before": None, "before_why": UNNAMED}
    same = [told for told in earlier if not _other_vehicle(name, told, earlier)]
    visits = [_entry(told, now[0].get("started_utc")) for told in same]
    touched = next((told for told in same if _touched(told[1])), None)
    lost = loss(visit(*touched), visit(*now)) if touched else None
    again = _again(now, same)
    found = {"vehicle": str(name), "visits": visits, "loss": lost, "patterns_again": again}
    words = _words(visits, touched and visit(*touched), visit(*now), [*_lost(lost, now), *_back(again)])
    return {"before": {**found, "words": words}, "before_why": ""}


def _other_vehicle(name: VehicleName, told: Told, earlier: Sequence[Told]) -> bool:
    """Whether only the registration is the same: it has moved on to another vehicle, or the VIN says otherwise."""
    vin = _name(told).vin
    known = name.vin or next((_name(other).vin for other in earlier if _name(other).vin), "")
    return bool(vin and known and vin != known)


def _name(told: Told) -> VehicleName:
    return vehicle_name(told[1].get("job") or {}, told[0].get("vehicle") or {})


def _touched(findings: Mapping) -> bool:
    return _mass(findings, "charge", "delivered_g") is not None or _mass(findings, "recovered", "mass_g") is not None


def _mass(findings: Mapping, part: str, key: str) -> float | None:
    return (findings.get(part) or {}).get(key)


def _patterns(findings: Mapping) -> list[str]:
    return [str(row["pattern"]) for row in (findings.get("performance") or {}).get("patterns") or []]


def _again(now: Told, same: Sequence[Told]) -> list[str]:
    """Fault patterns of the last visit that showed any, which this one shows again."""
    then = next((shown for told in same if (shown := _patterns(told[1]))), [])
    return [name for name in _patterns(now[1]) if name in then]


def _entry(told: Told, now_utc: str | None) -> dict:
    summary, findings = told
    job = findings.get("job") or {}
    return {
        "session_id": summary["session_id"],
        "started_utc": summary.get("started_utc"),
        "days_before": days_between(summary.get("started_utc"), now_utc),
        "refrigerant": summary.get("refrigerant"),
        "delivered_g": _mass(findings, "charge", "delivered_g"),
        "uncertainty_g": _mass(findings, "charge", "uncertainty_g"),
        "recovered_g": _mass(findings, "recovered", "mass_g"),
        "patterns": _patterns(findings),
        "complaint": job.get("complaint"),
        "leak_place": job.get("leak_place"),
        "repair": job.get("repair"),
    }


def _words(visits: Sequence[Mapping], then: Visit | None, now: Visit, judged: Sequence[str]) -> list[str]:
    """Sentences, each whole by itself."""
    if not visits:
        return ["Not here before, as far as this record goes."]
    return [_came(visits), *_masses(then, now), *judged]


def _came(visits: Sequence[Mapping]) -> str:
    times = {1: "once", 2: "twice", MOST: f"{MOST} times or more"}.get(len(visits), f"{len(visits)} times")
    last = visits[0]
    day = f"on {last['started_utc'][:10]}" if last["started_utc"] else "at a time not known"
    return f"Here before {times}, last {day}{_earlier(last['days_before'])}."


def _earlier(days: float | None) -> str:
    """Nothing where a clock was wrong."""
    if days is None or days < 0:
        return ""
    return ", the same day" if days < 0.5 else ", a day earlier" if days < 1.5 else f", {days:.0f} days earlier"


def _masses(then: Visit | None, now: Visit) -> list[str]:
    """What went in when it was charged last, and what came out now."""
    if then is None:
        return []
    when = f"On {then.started_utc[:10]}" if then.started_utc else f"In session {then.session_id}"
    if then.charged_g is not None:
        said = f"{when} {_plus_minus(then.charged_g, then.charged_u_g)} went in after evacuation"
    else:
        said = f"{when} no whole charge after evacuation was weighed"
    if now.recovered_g is None:
        return [f"{said}."]
    return [f"{said}; {_plus_minus(now.recovered_g, now.recovered_u_g)} came out this time."]


def _plus_minus(mass_g: float, u_g: float) -> str:
    return f"{mass_g:.0f} ± {u_g:.0f} g" if u_g else f"{mass_g:.0f} g"


def _lost(lost: Mapping | None, now: Told) -> list[str]:
    if lost is None:
        return []
    if _mass(now[1], "recovered", "mass_g") is None and now[0].get("open"):
        return ["Weigh what comes out now: it tells what was lost since."]
    if lost["g_per_year"] is None:
        return [f"What it lost since is not judged: {lost['words']}."]
    return [lost["words"]]


def _back(again: Sequence[str]) -> list[str]:
    return [f"It looked like {', '.join(again)} then, and does again: a guide only."] if again else []
