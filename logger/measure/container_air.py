"""Air in a refrigerant container: the pressure stands above saturation by the air's share.

The limit is saturation + 34 kPa (5 psi), from which the table of SAE J2211 for R-134a differs by no more than its
rounding (recalled from memory, medium-high trust); its procedure as in SAE J1989: at 18.3 °C or warmer, twelve hours
out of the sun. For other refrigerants the same limit is our choice; for R-12 J1989 has 80 psig at 70 °F.
"""

from __future__ import annotations

from dataclasses import dataclass

from logger.measure.atmosphere import Ambient, absolute_pa
from logger.measure.saturation import saturation

LIMIT_PA = 34_000.0
COLDEST_C = 18.3
SOAK_S = 12 * 3600.0
AMBIENT_PA = 5_000.0
"""Weather is within this of what an altitude says, a seventh of the limit; where not even that is known, nothing is."""

TRANSDUCER_PA = 7_000.0
PROBE_K = 0.3


@dataclass(frozen=True, slots=True)
class ContainerAir:
    """verdict: "pass", "air" or "not-judged"; excess_pa above saturation with its uncertainty (k = 2), and the
    words."""

    verdict: str
    excess_pa: float | None
    uncertainty_pa: float | None
    why: str


def container_air(
    refrigerant: str,
    gauge_kpa: float | None,
    temp_c: float | None,
    ambient: Ambient,
    soaked_s: float | None,
    transducer_zeroed: bool,
) -> ContainerAir:
    """Judge a container at rest; raises UnknownRefrigerant.

    gauge_kpa: pressure at the container's vapour port. soaked_s: how long it has stood at this temperature out of the
    sun.
    """
    reason = _why_not(gauge_kpa, temp_c, ambient, soaked_s, transducer_zeroed)
    curve = saturation(refrigerant)
    expected_pa = None if temp_c is None else curve.pressure_pa(temp_c)
    if reason is None and expected_pa is None:
        reason = curve.why_not(temp_c=temp_c)
    if reason is not None:
        return ContainerAir("not-judged", None, None, reason)
    slope = (curve.pressure_pa(temp_c) - curve.pressure_pa(temp_c - 1.0)) * PROBE_K
    uncertainty_pa = (TRANSDUCER_PA**2 + slope**2 + ambient.uncertainty_pa**2) ** 0.5
    return _verdict(absolute_pa(gauge_kpa, ambient.pa) - expected_pa, uncertainty_pa)


def _why_not(gauge_kpa, temp_c, ambient: Ambient, soaked_s, zeroed: bool) -> str | None:
    checks = (
        (gauge_kpa is None, "no pressure at the container"),
        (temp_c is None, "no container temperature"),
        (not zeroed, "the gauge was not seen to read zero open to air; zero it first"),
        (ambient.uncertainty_pa > AMBIENT_PA, f"no barometer, and no altitude ({ambient.source})"),
        (soaked_s is None or soaked_s < SOAK_S, "the container has not stood 12 h at one temperature out of the sun"),
        (temp_c is not None and temp_c < COLDEST_C, "colder than 18.3 °C: too little pressure to tell air by"),
    )
    return next((words for fails, words in checks if fails), None)


def _verdict(excess_pa: float, uncertainty_pa: float) -> ContainerAir:
    kpa = excess_pa / 1e3
    if excess_pa < -uncertainty_pa - LIMIT_PA:
        words = f"{-kpa:.0f} kPa below saturation: no liquid left, another refrigerant, or a wrong temperature"
        return ContainerAir("not-judged", excess_pa, uncertainty_pa, words)
    if excess_pa > LIMIT_PA:
        words = f"{kpa:.0f} kPa above saturation: air, or not this refrigerant. Do not charge from it; recycle it whole"
        return ContainerAir("air", excess_pa, uncertainty_pa, words)
    words = f"{kpa:+.0f} kPa against saturation, within the {LIMIT_PA / 1e3:.0f} kPa that count as air"
    return ContainerAir("pass", excess_pa, uncertainty_pa, words)
