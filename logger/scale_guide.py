"""Keeping a scale honest between calibrations: a check weight, a load at the corners, the empty platform watched."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from logger.calibration_guide import Bench
from logger.measure.scale_check import (
    CheckVerdict,
    CheckWeight,
    ScaleClass,
    eccentric_hint,
    hb44_tolerance_g,
    judge_check,
)
from logger.measure.scale_trend import judge_drift, temperature_coefficient, warm_up

PLACES = ("middle", "left", "right", "front", "back")


def check_weight(
    bench: Bench, nominal_g: float, scale: tuple[ScaleClass, float], earlier: Sequence[CheckWeight], day: float
) -> tuple[CheckWeight, CheckVerdict]:
    """Weigh a known mass against the empty platform and judge it, alone and with those before it."""
    bench.ask("Clear the platform, then press Enter. ")
    empty = bench.rest().value
    bench.ask(f"Set the {nominal_g:g} g down in the middle, let go, then press Enter. ")
    check = CheckWeight(day, nominal_g, bench.rest().value - empty)
    verdict = judge_check(check, *scale)
    bench.say(f"Shows {check.shown_g:.1f} g, {check.error_g:+.1f} g off: {verdict.outcome}, {verdict.why}.")
    bench.say(
        f"Class {scale[0]}, e = {scale[1]:g} g (OIML R 76, in service). NIST Handbook 44 maintenance tolerance, "
        f"class III: ±{hb44_tolerance_g(scale[1], nominal_g):g} g."
    )
    bench.say(f"With {len(earlier)} earlier checks: {judge_drift([*earlier, check], *scale).message}.")
    return check, verdict


def corners(bench: Bench, scale: tuple[ScaleClass, float]) -> bool:
    """Weigh one load at five places; whether where it stands matters no more than the class permits."""
    bench.ask("Clear the platform, then press Enter. ")
    empty = bench.rest().value
    readings = {}
    for place in PLACES:
        bench.ask(f"Set the same load down at the {place}, let go, then press Enter. ")
        readings[place] = bench.rest().value - empty
        bench.say(f"  {place}: {readings[place]:.1f} g")
    hint = eccentric_hint(readings, *scale)
    bench.say(hint.message[0].upper() + hint.message[1:] + ".")
    return abs(hint.spread_g) <= hint.limit_g


def watch_empty(
    say: Callable[[str], None], t_s: list[float], zero_g: list[float], temp_c: list[float] | None, e_g: float
) -> None:
    """Say how an empty platform settled after switching on, and how it follows temperature where a probe was read."""
    found = warm_up(t_s, zero_g, e_g / 2)
    say(
        f"Settles with a time constant of {found.tau_s / 60:.1f} min by {-found.amplitude_g:+.1f} g; within half an "
        f"interval ({e_g / 2:g} g) of rest after {found.ready_s / 60:.1f} min."
    )
    try:
        line = temperature_coefficient(temp_c or [], zero_g)
    except ValueError as error:
        say(f"Temperature: not judged, {error}.")
    else:
        say(f"Follows temperature by {line.slope:+.2f} g/K; one watch cannot tell warming up and temperature apart.")
