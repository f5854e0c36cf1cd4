"""Many sessions at once: is the filling under control, how fast is the valve closed, which vehicles come back.

Pure: takes summaries and findings, newest first as the store gives them, and gives what a page or a report shows.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from statistics import median, quantiles

from logger.measure.leakage import leakage
from logger.session.control_chart import control_chart
from logger.session.stop_lag import learned_lag_s
from logger.session.vehicle_name import VehicleName, vehicle_name

UNKNOWN = "not noted"


@dataclass(frozen=True, slots=True)
class Visit:
    """One session as the shop's review sees it: masses in g, times in s, expanded uncertainties (k = 2)."""

    session_id: str
    started_utc: str | None
    vehicle: VehicleName
    technician: str
    error_g: float | None
    lag_s: float | None
    charged_g: float | None
    charged_u_g: float
    recovered_g: float | None
    recovered_u_g: float
    stages: tuple[tuple[str, float], ...]
    outcomes: tuple[tuple[str, str], ...]
    drifted: bool


def visit(summary: Mapping, findings: Mapping) -> Visit:
    """What counts of one session."""
    charge, recovered, job = (findings.get(key) or {} for key in ("charge", "recovered", "job"))
    delivered, target = charge.get("delivered_g"), charge.get("target_g")
    evacuated = (findings.get("evacuation") or {}).get("lowest_pa") is not None
    return Visit(
        summary["session_id"],
        summary.get("started_utc"),
        vehicle_name(job, summary.get("vehicle") or {}),
        job.get("technician") or UNKNOWN,
        None if delivered is None or target is None else delivered - target,
        _lag(charge),
        delivered if evacuated else None,
        charge.get("uncertainty_g") or 0.0,
        recovered.get("mass_g"),
        recovered.get("uncertainty_g") or 0.0,
        tuple(stage_spans(findings)),
        tuple((row["criterion"], row["outcome"]) for row in findings.get("review") or []),
        any(alert["code"] == "scale-drift" for alert in findings.get("alerts") or []),
    )


def shop_review(found: Iterable[tuple[Mapping, Mapping]], scale_checks: Sequence[Mapping] = ()) -> dict:
    """The review of all sessions, JSON-ready. scale_checks: check weights kept beside the cart file, oldest first."""
    visits = [visit(summary, findings) for summary, findings in found]
    visits.reverse()
    return {
        "sessions": len(visits),
        "charge_error": _charge_error(visits),
        "stop_lag": _stop_lags(visits),
        "scale": {"checks": [dict(check) for check in scale_checks], "drifted_in": _drifted(visits)},
        "repeat_vehicles": _repeat_vehicles(visits),
        "stages": _stage_times(visits),
        "criteria": _criteria(visits),
    }


def stage_spans(findings: Mapping) -> list[tuple[str, float]]:
    """Each stage with the seconds it lasted, in order."""
    entered = [stage for stage in findings.get("stages") or [] if stage["stage"] != "closed"]
    times = [stage["t_s"] for stage in findings.get("stages") or []] + [findings.get("duration_s") or 0.0]
    return [(stage["stage"], max(times[k + 1] - stage["t_s"], 0.0)) for k, stage in enumerate(entered)]


def _lag(charge: Mapping) -> float | None:
    stop, ended = charge.get("stop_alert_t_s"), charge.get("flow_ended_t_s")
    return None if stop is None or ended is None else ended - stop


def _charge_error(visits: Sequence[Visit]) -> dict | None:
    charged = [v for v in visits if v.error_g is not None]
    chart = control_chart([v.error_g for v in charged])
    if chart is None:
        return None
    return asdict(chart) | {"session_ids": [v.session_id for v in charged], "unit": "g"}


def _stop_lags(visits: Sequence[Visit]) -> dict[str, dict]:
    """By technician; lag_s None with a why where too few fills ended at an alert."""
    lags: dict[str, list[float]] = defaultdict(list)
    for v in visits:
        if v.lag_s is not None:
            lags[v.technician].append(v.lag_s)
    return {name: _learned(history) for name, history in sorted(lags.items())}


def _learned(history: Sequence[float]) -> dict:
    lag = learned_lag_s(history)
    if lag is None:
        return {"lag_s": None, "spread_s": None, "fills": len(history), "why": "too few fills ended at an alert"}
    return asdict(lag)


def _drifted(visits: Sequence[Visit]) -> list[str]:
    return [v.session_id for v in visits if v.drifted]


def _repeat_vehicles(visits: Sequence[Visit]) -> list[dict]:
    """Vehicles seen more than once, each with the loss between a charge and the next recovery; most visits first."""
    plates: dict[str, set[str]] = defaultdict(set)
    for v in visits:
        plates[v.vehicle.registration].add(v.vehicle.vin)
    seen: dict[str, list[Visit]] = defaultdict(list)
    for v in visits:
        if v.vehicle:
            seen[_known_by(v.vehicle, plates[v.vehicle.registration])].append(v)
    repeated = [(name, stays) for name, stays in seen.items() if len(stays) > 1]
    repeated.sort(key=lambda item: (-len(item[1]), item[0]))
    return [
        {
            "vehicle": name,
            "session_ids": [v.session_id for v in stays],
            "losses": [loss(a, b) for a, b in zip(stays, stays[1:], strict=False)],
        }
        for name, stays in repeated
    ]


def _known_by(name: VehicleName, vins: set[str]) -> str:
    """The VIN, also where only the registration was noted, if that was seen on one vehicle alone."""
    known = vins - {""}
    return known.pop() if not name.vin and len(known) == 1 else str(name)


def loss(before: Visit, after: Visit) -> dict:
    """What was lost between a charge and the next recovery, JSON-ready; not judged with words that say why."""
    days = days_between(before.started_utc, after.started_utc)
    pair = {"from": before.session_id, "to": after.session_id, "days": days}
    if days is None:
        why = "the time of one of the two is not known"
        return pair | {"g_per_year": None, "uncertainty_g_per_year": None, "lost_g": None, "words": why}
    return pair | asdict(leakage(before.charged_g, before.charged_u_g, after.recovered_g, after.recovered_u_g, days))


def days_between(first: str | None, second: str | None) -> float | None:
    """From one ISO 8601 time to another; None where one is not known."""
    if first is None or second is None:
        return None
    return (datetime.fromisoformat(second) - datetime.fromisoformat(first)).total_seconds() / 86400.0


def _stage_times(visits: Sequence[Visit]) -> dict[str, dict]:
    """Seconds per session in each stage: median and quartiles over the sessions that had it."""
    spent: dict[str, list[float]] = defaultdict(list)
    for v in visits:
        totals: Counter[str] = Counter()
        for stage, seconds in v.stages:
            totals[stage] += seconds
        for stage, seconds in totals.items():
            spent[stage].append(seconds)
    return {stage: _spread(seconds) for stage, seconds in spent.items()}


def _spread(seconds: Sequence[float]) -> dict:
    quarters = quantiles(seconds, n=4, method="inclusive") if len(seconds) > 1 else [seconds[0]] * 3
    return {
        "sessions": len(seconds),
        "median_s": median(seconds),
        "lower_quartile_s": quarters[0],
        "upper_quartile_s": quarters[2],
    }


def _criteria(visits: Sequence[Visit]) -> dict[str, dict[str, int]]:
    """How often each criterion came out how."""
    counted: dict[str, Counter[str]] = defaultdict(Counter)
    for v in visits:
        for criterion, outcome in v.outcomes:
            counted[criterion][outcome] += 1
    return {criterion: dict(outcomes) for criterion, outcomes in counted.items()}
