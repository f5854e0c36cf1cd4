"""Whether a scale may be believed: check weights against the errors weighing law permits.

Two tables. OIML R 76-1 and Directive 2014/31/EU, Annex I: the same maximum permissible errors on initial verification,
twice that in service. NIST Handbook 44, section 2.20, table 6: maintenance tolerances in scale divisions (recalled, not
read again in its text; acceptance tolerances are half). A scale under a charge is not in legal trade: the tables serve
as the yardstick, and the class and interval come from the cart file.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

ScaleClass = Literal["II", "III", "IIII"]
Outcome = Literal["pass", "marginal", "fail"]

_OIML_STEPS_E = {"II": (5_000, 20_000, 100_000), "III": (500, 2_000, 10_000), "IIII": (50, 200, 1_000)}
_OIML_MPE_E = (0.5, 1.0, 1.5)

_HB44_CLASS_III = ((500, 1), (2_000, 2), (4_000, 3), (math.inf, 5))


@dataclass(frozen=True, slots=True)
class CheckWeight:
    """One weighing of a known mass: when (days on any scale), its mass and what the scale showed, g."""

    day: float
    nominal_g: float
    shown_g: float

    @property
    def error_g(self) -> float:
        """Shown less true."""
        return self.shown_g - self.nominal_g


@dataclass(frozen=True, slots=True)
class CheckVerdict:
    """What a check weight says: pass within the verification error, marginal up to the in-service one, fail beyond."""

    outcome: Outcome
    error_g: float
    limit_g: float
    why: str


@dataclass(frozen=True, slots=True)
class EccentricHint:
    """How far readings of one load differ over the platform, against the permissible error at that load."""

    spread_g: float
    limit_g: float
    worst: str
    message: str


def oiml_mpe_g(scale_class: ScaleClass, e_g: float, load_g: float, in_service: bool = True) -> float:
    """Maximum permissible error at `load_g` (net) for verification interval `e_g`, g, ±.

    OIML R 76-1 table 6 and Directive 2014/31/EU Annex I table 3; in service twice the initial one. Raises ValueError
    for a load beyond what the class covers, an unknown class or an interval that is not above zero.
    """
    if scale_class not in _OIML_STEPS_E:
        raise ValueError(f"scale class {scale_class!r} is unknown; II, III and IIII are")
    if not e_g > 0:
        raise ValueError(f"verification interval e = {e_g:g} g is not above zero")
    for top, mpe in zip(_OIML_STEPS_E[scale_class], _OIML_MPE_E, strict=True):
        if abs(load_g) <= top * e_g:
            return mpe * e_g * (2 if in_service else 1)
    raise ValueError(f"{load_g:g} g is over {_OIML_STEPS_E[scale_class][-1]} e, more than class {scale_class} covers")


def hb44_tolerance_g(d_g: float, load_g: float, acceptance: bool = False) -> float:
    """Maintenance tolerance of a class III scale of division `d_g` at `load_g`, g, ±; acceptance is half of it."""
    if not d_g > 0:
        raise ValueError(f"scale division d = {d_g:g} g is not above zero")
    divisions = next(tolerance for top, tolerance in _HB44_CLASS_III if abs(load_g) <= top * d_g)
    return divisions * d_g * (0.5 if acceptance else 1.0)


def judge_check(check: CheckWeight, scale_class: ScaleClass, e_g: float) -> CheckVerdict:
    """Judge one check weight by the class and interval of its scale."""
    if not check.nominal_g > 0 or not math.isfinite(check.shown_g):
        raise ValueError("a check weight has a mass above zero and a reading")
    verified = oiml_mpe_g(scale_class, e_g, check.nominal_g, in_service=False)
    in_service = 2 * verified
    error = abs(check.error_g)
    if error <= verified:
        return CheckVerdict("pass", check.error_g, in_service, f"within ±{verified:g} g")
    if error <= in_service:
        why = f"beyond ±{verified:g} g, within ±{in_service:g} g in service; adjust at the next occasion"
        return CheckVerdict("marginal", check.error_g, in_service, why)
    why = f"beyond ±{in_service:g} g; calibrate the scale before the next charge"
    return CheckVerdict("fail", check.error_g, in_service, why)


def judge_history(checks: Sequence[CheckWeight], scale_class: ScaleClass, e_g: float) -> list[CheckVerdict]:
    """One verdict a check, oldest first as given."""
    return [judge_check(check, scale_class, e_g) for check in checks]


def eccentric_hint(readings_g: dict[str, float], scale_class: ScaleClass, e_g: float) -> EccentricHint:
    """One load read at several places of the platform (name → reading, ``middle`` among them), judged as R 76 does:
    every place within the error permitted at that load. R 76 uses a third of Max; any load gives a hint."""
    if "middle" not in readings_g or len(readings_g) < 3:
        raise ValueError("weigh the same load in the middle and at two other places at least")
    middle = readings_g["middle"]
    worst = max(readings_g, key=lambda place: abs(readings_g[place] - middle))
    spread, limit = readings_g[worst] - middle, oiml_mpe_g(scale_class, e_g, middle)
    if abs(spread) <= limit:
        message = f"where the load stands changes the reading by {abs(spread):.1f} g at most, within ±{limit:g} g"
    else:
        message = (
            f"a load at {worst!r} reads {spread:+.1f} g off the middle, beyond ±{limit:g} g: level the platform, "
            "free it from hoses and stops, and keep containers in the middle"
        )
    return EccentricHint(spread, limit, worst, message)
