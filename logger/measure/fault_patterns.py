"""Fault patterns of a running system as weighed evidence: what supports one, what speaks against it, what to measure
next.

Directions are those of the textbook tables (an automotive textbook, trade and repair literature, some from memory); the
lines between low, normal and high are ours: condensing 11 to 36 K above ambient spans the published pressure charts for
R-134a. Never a verdict: the vehicle maker's data goes first, and never from one reading.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Observed:
    """A settled state; None where a probe or the saturation curve is missing. Temperatures °C, swings kPa over 90 s."""

    evaporating_c: float | None = None
    condensing_c: float | None = None
    ambient_c: float | None = None
    vent_c: float | None = None
    superheat_k: float | None = None
    subcooling_k: float | None = None
    high_swing_kpa: float | None = None
    low_swing_kpa: float | None = None
    low_gauge_kpa: float | None = None


@dataclass(frozen=True, slots=True)
class Pattern:
    """What a fault looks like: feature -> grades that support it, and what would tell it from its likes."""

    name: str
    expects: dict[str, str]
    measure_next: str


FEATURES = {
    "low": "low side (evaporating temperature)",
    "high": "high side (condensing above ambient)",
    "superheat": "superheat",
    "subcooling": "subcooling",
    "vent": "vent against ambient",
    "swing": "steadiness of the high side",
    "low_swing": "steadiness of the low side",
}
WEIGHTS = {"low": 1.0, "high": 1.0, "superheat": 1.5, "subcooling": 1.5, "vent": 0.5, "swing": 1.0, "low_swing": 1.5}
LEAST_SUPPORT = 2.5
ORDINARY = {"normal", "cold", "steady"}

PATTERNS = (
    Pattern(
        "undercharge",
        {"low": "low", "high": "low normal", "superheat": "high", "subcooling": "low", "vent": "warm"},
        "Recover and weigh what is in it; look for the leak before any refill.",
    ),
    Pattern(
        "overcharge",
        {"low": "high", "high": "high", "superheat": "low normal", "subcooling": "high"},
        "Recover, weigh, evacuate and charge by the placard; weight is the only measure of charge.",
    ),
    Pattern(
        "air in the system",
        {
            "low": "normal high",
            "high": "high",
            "superheat": "normal low",
            "subcooling": "high",
            "vent": "warm",
            "swing": "unsteady",
        },
        "Let it rest to one temperature and compare the pressure with saturation; recover, evacuate, recharge.",
    ),
    Pattern(
        "poor condenser airflow",
        {"low": "high normal", "high": "high", "subcooling": "low normal", "superheat": "low normal", "vent": "warm"},
        "Look at the fan, its stages and the fins; watch whether a blower in front brings the high side down.",
    ),
    Pattern(
        "weak compressor",
        {"low": "high", "high": "low", "superheat": "low normal", "subcooling": "low normal", "vent": "warm"},
        "Raise the speed and see whether the sides part; check clutch and control valve by the maker's data.",
    ),
    Pattern(
        "restriction in the liquid line",
        {"low": "low", "high": "low normal", "superheat": "high", "subcooling": "high normal", "vent": "warm"},
        "Feel or measure along the liquid line and drier for a step in temperature or frost.",
    ),
    Pattern(
        "expansion device stuck open",
        {"low": "high", "high": "normal high", "superheat": "low", "subcooling": "low normal", "vent": "warm"},
        "Measure superheat at the evaporator outlet while the load changes; look for a sweating suction line.",
    ),
    Pattern(
        "expansion device stuck closed",
        {"low": "low", "high": "normal low", "superheat": "high", "subcooling": "normal high", "vent": "warm"},
        "Warm and cool the sensing element and watch the low side; tell it from a clogged drier by the temperature "
        "step.",
    ),
    Pattern(
        "moisture freezing at the expansion device",
        {"low_swing": "swings", "low": "low normal", "superheat": "high", "vent": "warm"},
        "Let it rest until it has thawed: if it cools again and then fails again, recover, change the drier, "
        "evacuate long.",
    ),
)


def patterns(observed: Observed) -> tuple[list[dict], str | None]:
    """Patterns that the evidence supports, strongest first, and why none or why only so far."""
    grades = _grades(observed)
    missing = [FEATURES[name] for name in ("low", "high", "superheat", "subcooling", "vent") if name not in grades]
    if not {"low", "high"} <= grades.keys():
        return [], f"patterns need both pressures, ambient and a known refrigerant; missing: {', '.join(missing)}"
    if all(grade[0] in ORDINARY for grade in grades.values()):
        return [], "nothing stands out" + (f" (not seen: {', '.join(missing)})" if missing else "")
    weighed = [_weigh(pattern, grades, missing) for pattern in PATTERNS]
    kept = [w for w in weighed if w["weight"] > 0.0 and w.pop("support") >= LEAST_SUPPORT]
    kept.sort(key=lambda w: -w["weight"])
    return kept[:3], None if kept else "some values stand out, but no pattern fits them well enough"


def _weigh(pattern: Pattern, grades: dict[str, tuple[str, str]], missing: list[str]) -> dict:
    """Support less contradiction; ordinary values support nothing, they only fail to contradict."""
    supports, against, support, contradiction = [], [], 0.0, 0.0
    for feature, wanted in pattern.expects.items():
        grade, words = grades.get(feature, (None, ""))
        if grade is None:
            continue
        if grade not in wanted.split():
            against.append(words)
            contradiction += WEIGHTS[feature]
        elif grade not in ORDINARY:
            supports.append(words)
            support += WEIGHTS[feature]
    unexplained = [w for f, (g, w) in grades.items() if f not in pattern.expects and g not in ORDINARY]
    return {
        "pattern": pattern.name,
        "evidence": supports,
        "against": against + unexplained,
        "not_seen": missing,
        "measure_next": pattern.measure_next,
        "weight": round(support - contradiction - 0.5 * len(unexplained), 2),
        "support": support,
    }


def _grades(o: Observed) -> dict[str, tuple[str, str]]:
    """Each feature that can be told: its grade and the words for it."""
    grades = {}
    if o.evaporating_c is not None:
        usual = 1.0 if o.ambient_c is None else 1.0 + 0.25 * (o.ambient_c - 25.0)
        grade = "low" if o.evaporating_c < usual - 7.0 else "high" if o.evaporating_c > usual + 7.0 else "normal"
        grades["low"] = (
            grade,
            f"low side {grade}: evaporating at {o.evaporating_c:.1f} °C (about {usual:.0f} is usual)",
        )
    elif o.low_gauge_kpa is not None and o.low_gauge_kpa < 0.0:
        grades["low"] = ("low", f"low side in a vacuum while running ({o.low_gauge_kpa:.0f} kPa)")
    if o.condensing_c is not None and o.ambient_c is not None:
        grades["high"] = _banded("high side", o.condensing_c - o.ambient_c, 11.0, 36.0, "K condensing above ambient")
    if o.superheat_k is not None:
        grades["superheat"] = _banded("superheat", o.superheat_k, 2.0, 14.0, "K")
    if o.subcooling_k is not None:
        grades["subcooling"] = _banded("subcooling", o.subcooling_k, 3.0, 14.0, "K")
    return grades | _vent(o) | _steadiness(o)


def _banded(name: str, value: float, low: float, high: float, unit: str) -> tuple[str, str]:
    grade = "low" if value < low else "high" if value > high else "normal"
    return grade, f"{name} {grade}: {value:.1f} {unit} ({low:.0f} to {high:.0f} is usual)"


def _vent(o: Observed) -> dict[str, tuple[str, str]]:
    if o.vent_c is None or o.ambient_c is None:
        return {}
    fall = o.ambient_c - o.vent_c
    grade = "warm" if fall < 8.0 else "cold"
    return {"vent": (grade, f"vent {grade}: {o.vent_c:.1f} °C, {fall:.0f} K below ambient")}


def _steadiness(o: Observed) -> dict[str, tuple[str, str]]:
    grades = {}
    if o.high_swing_kpa is not None:
        unsteady = o.high_swing_kpa > 120.0
        grades["swing"] = ("unsteady" if unsteady else "steady", f"high side swings by {o.high_swing_kpa:.0f} kPa")
    if o.low_swing_kpa is not None:
        swings = o.low_swing_kpa > 80.0
        grades["low_swing"] = ("swings" if swings else "steady", f"low side swings by {o.low_swing_kpa:.0f} kPa")
    return grades
