"""The criteria of a session's review, declared: what is measured, against which limit, from which source, and when.

A criterion is judged from findings alone, so that yesterday's session can be judged by today's criteria. A limit inside
the measured value's uncertainty makes it marginal; what was not measured is not judged, and says why.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from logger.session.judgements import (
    AIR_FREE_PA,
    CHARGE_TOLERANCE_G,
    DRY_PA,
    J2788,
    RECOVERY_TOLERANCE_G,
    STOP_LAG_S,
    UNCERTAINTY_MOST_G,
    Judgement,
    alerts_counted,
    anything_recovered,
    charge_error,
    charge_uncertainty,
    charged,
    check_limit,
    evacuated,
    fault_patterns,
    has_placard,
    has_target,
    last_hold,
    leaked,
    lowest_within,
    on_record,
    placard_limit,
    pressure_hold,
    ran,
    recovered_mass,
    recovery_held,
    repaired,
    says,
    scale_checked,
    stop_lag,
    stop_said,
    told_of_check,
    within_placard,
)


@dataclass(frozen=True, slots=True)
class Criterion:
    """limit: words of the limit for these findings; applies: whether it concerns them; applies_when: that in words."""

    name: str
    unit: str
    source: str
    applies_when: str
    limit: Callable[[Mapping], str]
    applies: Callable[[Mapping], bool]
    judge: Callable[[Mapping], Judgement]


CRITERIA = (
    Criterion(
        "charge within the label",
        "g",
        "the vehicle's label",
        "a charge, label known",
        placard_limit,
        has_placard,
        within_placard,
    ),
    Criterion(
        "charge error",
        "g",
        f"{J2788}, 7.1.3 and 10",
        "a charge, target known",
        says(f"±{CHARGE_TOLERANCE_G:.0f} g, or within the label"),
        has_target,
        charge_error,
    ),
    Criterion(
        "uncertainty of the charge",
        "g",
        "ours: half of what SAE J2788 allows a charge; JCGM 100, k = 2",
        "a charge",
        says(f"at most {UNCERTAINTY_MOST_G:.1f} g"),
        charged,
        charge_uncertainty,
    ),
    Criterion(
        "stop heeded",
        "s",
        "ours",
        "the stop was said",
        says(f"valve closed within {STOP_LAG_S:.0f} s"),
        stop_said,
        stop_lag,
    ),
    Criterion(
        "air removed",
        "Pa",
        f"{J2788}, 9.1: 98 % free of air (our reading of it)",
        "an evacuation or a charge",
        says(f"at most {AIR_FREE_PA:.0f} Pa"),
        evacuated,
        lowest_within(AIR_FREE_PA),
    ),
    Criterion(
        "dry vacuum",
        "Pa",
        "common practice, no source: 500 micron",
        "an evacuation or a charge",
        says(f"at most {DRY_PA:.0f} Pa"),
        evacuated,
        lowest_within(DRY_PA),
    ),
    Criterion(
        "vacuum hold",
        "Pa/s",
        "common practice; models of the rise compared, 95 % interval",
        "an evacuation or a charge",
        says("tight"),
        evacuated,
        last_hold,
    ),
    Criterion(
        "pressure hold",
        "Pa/s",
        "common practice, no source; p/T, models of the fall compared, 95 % interval",
        "a pressure hold with dry nitrogen",
        says("tight"),
        lambda f: bool(f.get("pressure_hold")),
        pressure_hold,
    ),
    Criterion(
        "recovered mass known",
        "g",
        f"{J2788}, 9.1: shown within ±30 g",
        "a recovery on the scale",
        says(f"uncertainty at most {RECOVERY_TOLERANCE_G:.0f} g"),
        anything_recovered,
        recovered_mass,
    ),
    Criterion(
        "recovery complete",
        "s",
        "SAE J1989 (40 CFR 82 subpart B appendix A); SAE J2211 the same, from memory",
        "a recovery on the scale",
        says("a vacuum that stays for five minutes"),
        anything_recovered,
        recovery_held,
    ),
    Criterion(
        "no danger",
        "alerts",
        "this cart's alerts",
        "always",
        says("none"),
        lambda f: True,
        alerts_counted("danger", (), "fail"),
    ),
    Criterion(
        "sensors sound",
        "alerts",
        "this cart's alerts",
        "always",
        says("none"),
        lambda f: True,
        alerts_counted(None, ("sensor-stale", "sensor-fault", "scale-drift"), "marginal"),
    ),
    Criterion(
        "no fault pattern",
        "patterns",
        "textbook directions; a guide only",
        "the system ran until it settled",
        says("none"),
        ran,
        fault_patterns,
    ),
    Criterion(
        "repair before refill",
        "",
        "Directive 2006/40/EC Art. 6(3); UK SI 2009/2194",
        "a leak, where that law applies",
        says("repair noted"),
        leaked,
        repaired,
    ),
    Criterion(
        "scale checked",
        "days",
        "common practice, no source",
        "a charge or a recovery, where the cart told of its checks",
        check_limit,
        told_of_check,
        scale_checked,
    ),
    Criterion(
        "who and what on record",
        "missing",
        "40 CFR 82.42(b); the shop's own duty",
        "a charge or a recovery",
        says("technician, certificate, vehicle"),
        lambda f: charged(f) or anything_recovered(f),
        on_record,
    ),
)
