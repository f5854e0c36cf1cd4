"""What a review's criteria measure and how they judge it, each from a session's findings alone."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from logger.session.cautions import forbids_refill
from logger.session.scale_due import check_words, is_due

J2788 = "SAE J2788 (40 CFR 82 subpart B appendix C)"
CHARGE_TOLERANCE_G = 15.0
RECOVERY_TOLERANCE_G = 30.0
UNCERTAINTY_MOST_G = CHARGE_TOLERANCE_G / 2.0
AIR_FREE_PA = 2027.0
DRY_PA = 67.0
VACUUM_U_REL = 0.10
"""What a deep-vacuum sensor may be wrong by, of its reading (common practice, no source)."""

STOP_LAG_S = 5.0


@dataclass(frozen=True, slots=True)
class Judgement:
    """outcome: "pass", "fail", "marginal" or "not-judged"; measured None with a why where there is nothing to judge."""

    outcome: str
    measured: float | None = None
    t_s: float | None = None
    why: str = ""


def below(value: float, u: float, limit: float, t_s: float | None, why: str = "") -> Judgement:
    """pass: at or below the limit by all of its uncertainty; fail: above it by all of it; else marginal."""
    if value + u <= limit:
        return Judgement("pass", value, t_s, why)
    if value - u > limit:
        return Judgement("fail", value, t_s, why)
    return Judgement("marginal", value, t_s, why or f"the limit lies within its uncertainty of {u:.3g}")


def charged(findings: Mapping) -> bool:
    return _charge(findings).get("delivered_g") is not None


def _charge(findings: Mapping) -> Mapping:
    return findings.get("charge") or {}


def _end_t_s(findings: Mapping) -> float | None:
    return _charge(findings).get("flow_ended_t_s")


def _begin_t_s(findings: Mapping) -> float | None:
    charges = [s["t_s"] for s in findings.get("stages") or [] if s["stage"] == "charging"]
    return charges[-1] if charges else None


# The charge


def placard_limit(findings: Mapping) -> str:
    charge = _charge(findings)
    return f"{charge['placard_low_g']:.0f} to {charge['placard_high_g']:.0f} g"


def has_placard(findings: Mapping) -> bool:
    charge = _charge(findings)
    return charged(findings) and charge.get("placard_low_g") is not None and charge.get("placard_high_g") is not None


def has_target(findings: Mapping) -> bool:
    return charged(findings) and _charge(findings).get("target_g") is not None


def stop_said(findings: Mapping) -> bool:
    return charged(findings) and _charge(findings).get("stop_alert_t_s") is not None


def within_placard(findings: Mapping) -> Judgement:
    charge = _charge(findings)
    delivered, u = charge["delivered_g"], charge.get("uncertainty_g") or 0.0
    outside = max(charge["placard_low_g"] - delivered, delivered - charge["placard_high_g"])
    found = below(outside, u, 0.0, _end_t_s(findings))
    target = charge.get("target_g")
    if found.outcome == "fail" and target is not None and abs(delivered - target) + u <= CHARGE_TOLERANCE_G:
        why = f"outside the label, but within the {CHARGE_TOLERANCE_G:.0f} g that service equipment is allowed"
        return Judgement("marginal", delivered, found.t_s, why)
    return Judgement(found.outcome, delivered, found.t_s, _placard_words(outside, u))


def _placard_words(outside: float, u: float) -> str:
    if outside > 0:
        return f"{outside:.1f} g outside the label, ± {u:.1f} g (k = 2)"
    return f"{-outside:.1f} g inside the label's nearer end, ± {u:.1f} g (k = 2)"


def charge_error(findings: Mapping) -> Judgement:
    charge = _charge(findings)
    error, u = charge["delivered_g"] - charge["target_g"], charge.get("uncertainty_g") or 0.0
    found = below(abs(error), u, CHARGE_TOLERANCE_G, _end_t_s(findings))
    if found.outcome != "pass" and has_placard(findings) and within_placard(findings).outcome == "pass":
        return Judgement("pass", error, found.t_s, "further from the target than that, but surely within the label")
    return Judgement(found.outcome, error, found.t_s, f"± {u:.1f} g (k = 2)")


def charge_uncertainty(findings: Mapping) -> Judgement:
    u = _charge(findings).get("uncertainty_g")
    if u is None:
        return Judgement("not-judged", why="the uncertainty of the charge could not be told")
    outcome = "pass" if u <= UNCERTAINTY_MOST_G else "marginal" if u <= CHARGE_TOLERANCE_G else "fail"
    largest = max(_charge(findings).get("budget") or [], key=lambda line: line["u_g"], default=None)
    return Judgement(outcome, u, _end_t_s(findings), f"most of it: {largest['name']}" if largest else "")


def stop_lag(findings: Mapping) -> Judgement:
    stop, ended = _charge(findings)["stop_alert_t_s"], _end_t_s(findings)
    if ended is None:
        return Judgement("not-judged", None, stop, "the flow had not ended when the session did")
    if ended < stop:
        return Judgement("pass", 0.0, stop, "the valve was closed before the stop")
    return Judgement("pass" if ended - stop <= STOP_LAG_S else "fail", ended - stop, stop)


# The vacuum


def evacuated(findings: Mapping) -> bool:
    evacuation = findings.get("evacuation") or {}
    seen = any(s["stage"] == "evacuation" for s in findings.get("stages") or [])
    return seen or charged(findings) or evacuation.get("lowest_pa") is not None


def lowest_within(limit_pa: float) -> Callable[[Mapping], Judgement]:
    def judge(findings: Mapping) -> Judgement:
        evacuation = findings.get("evacuation") or {}
        lowest = evacuation.get("lowest_pa")
        if lowest is None:
            return Judgement("not-judged", why=evacuation.get("why") or "no evacuation was seen")
        return below(lowest, VACUUM_U_REL * lowest, limit_pa, _lowest_t_s(evacuation))

    return judge


def _lowest_t_s(evacuation: Mapping) -> float | None:
    curve = evacuation.get("curve") or []
    return min(curve, key=lambda point: point[1])[0] if curve else None


def last_hold(findings: Mapping) -> Judgement:
    begun = _begin_t_s(findings)
    holds = [h for h in findings.get("vacuum_hold") or [] if begun is None or h["start_t_s"] < begun]
    if not holds:
        return _no_hold(findings)
    last = holds[-1]
    outcome = {"tight": "pass", "leak": "fail", "moisture": "fail"}.get(last["verdict"], "not-judged")
    why = f"{last['verdict']}: {last['why']}" if last.get("why") else last["verdict"]
    return Judgement(outcome, last.get("rise_pa_per_s"), last["start_t_s"], why)


def _no_hold(findings: Mapping) -> Judgement:
    evacuation = findings.get("evacuation") or {}
    if evacuation.get("lowest_pa") is None and evacuation.get("low_side_lowest_kpa_abs") is not None:
        return Judgement("not-judged", why="no deep-vacuum reading: a hold cannot be judged by the low side")
    if findings.get("vacuum_hold_why"):
        return Judgement("not-judged", why=findings["vacuum_hold_why"])
    skipped = [s for s in findings.get("stages_skipped") or [] if s["stage"] == "vacuum_hold" and s["by"] == "mark"]
    why = f"left out: {skipped[-1]['why']}" if skipped else "no vacuum hold was seen"
    return Judgement("fail" if charged(findings) and not skipped else "not-judged", why=why)


def pressure_hold(findings: Mapping) -> Judgement:
    last = findings["pressure_hold"][-1]
    outcome = {"tight": "pass", "leak": "fail"}.get(last["verdict"], "not-judged")
    return Judgement(outcome, last["fall_pa_per_s"], last["start_t_s"], f"{last['verdict']}: {last['why']}")


# Everything else


def anything_recovered(findings: Mapping) -> bool:
    return (findings.get("recovered") or {}).get("mass_g") is not None


def recovered_mass(findings: Mapping) -> Judgement:
    recovered = findings["recovered"]
    u = recovered.get("uncertainty_g")
    if u is None:
        return Judgement("not-judged", why="the uncertainty of the recovered mass could not be told")
    return Judgement("pass" if u <= RECOVERY_TOLERANCE_G else "fail", u, None, f"{recovered['mass_g']:.0f} g recovered")


def recovery_held(findings: Mapping) -> Judgement:
    rest = findings.get("recovery_rest") or {}
    why = rest.get("why") or "no stage of recovery was told or seen"
    if rest.get("waited_s") is None:
        return Judgement("not-judged", why=why)
    outcome = {True: "pass", False: "fail", None: "marginal"}[rest["complete"]]
    return Judgement(outcome, rest["waited_s"], None, why)


def alerts_counted(severity: str | None, codes: tuple[str, ...], bad: str) -> Callable[[Mapping], Judgement]:
    """Counts alerts of a severity or of codes; none is a pass, any is `bad`."""

    def judge(findings: Mapping) -> Judgement:
        found = [a for a in findings.get("alerts") or [] if a["severity"] == severity or a["code"] in codes]
        names = ", ".join(dict.fromkeys(a["code"] for a in found))
        return Judgement(bad if found else "pass", float(len(found)), found[0]["t_s"] if found else None, names)

    return judge


def ran(findings: Mapping) -> bool:
    return (findings.get("performance") or {}).get("high_side_kpa") is not None


def fault_patterns(findings: Mapping) -> Judgement:
    found = findings["performance"].get("patterns") or []
    words = "; ".join(row["pattern"] for row in found)
    return Judgement("marginal" if found else "pass", float(len(found)), None, words)


def on_record(findings: Mapping) -> Judgement:
    job = findings.get("job") or {}
    names = {"technician": "technician", "certificate": "certificate number", "registration": "registration"}
    vehicle_known = bool(job.get("vin") or job.get("registration"))
    missing = [
        words for key, words in names.items() if not job.get(key) and not (key == "registration" and vehicle_known)
    ]
    why = f"not noted: {', '.join(missing)}" if missing else ""
    return Judgement("not-judged" if missing else "pass", float(len(missing)), None, why)


def leaked(findings: Mapping) -> bool:
    job, holds = findings.get("job") or {}, [*findings.get("vacuum_hold", []), *findings.get("pressure_hold", [])]
    leaked = job.get("leak_verdict") == "found" or any(hold["verdict"] == "leak" for hold in holds)
    return leaked and charged(findings) and forbids_refill(findings.get("jurisdiction") or "") is not None


def repaired(findings: Mapping) -> Judgement:
    done = bool((findings.get("job") or {}).get("repair_done"))
    return Judgement(
        "pass" if done else "fail", float(done), _begin_t_s(findings), "" if done else "no repair is noted"
    )


def says(words: str) -> Callable[[Mapping], str]:
    return lambda findings: words


# The tools


def told_of_check(findings: Mapping) -> bool:
    """Whether the cart told when its scale was checked, and something was weighed."""
    return findings.get("scale_check") is not None and (charged(findings) or anything_recovered(findings))


def check_limit(findings: Mapping) -> str:
    return f"a known mass within {findings['scale_check']['due_days']:.0f} days before"


def scale_checked(findings: Mapping) -> Judgement:
    """A check that is old, or failed, leaves a remark: it says nothing of this session's weights."""
    check = findings["scale_check"]
    days, words = check["days_before"], check_words(check)
    if check["at_utc"] is None or days is None:
        why = words if check["at_utc"] is None else f"{words}; the time of this session was not known"
        return Judgement("not-judged", why=why)
    return Judgement("marginal" if is_due(check) else "pass", days, None, words)
