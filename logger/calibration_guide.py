"""The guided calibration: what to do with the hands, in words, one step at a time."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from firmware_bridge.calibration import Calibration
from logger.measure.calibration_set import KnownPoint, calibration_from, repeatability
from logger.measure.scale_check import ScaleClass, oiml_mpe_g
from logger.quantities import parse_mass_g
from logger.steady import Rest

Say = Callable[[str], None]
Ask = Callable[[str], str]

STRAIGHT_SHARE = {"scale": 0.001}
"""Largest residual to accept as a share of the largest value; where the scale's class is stated, its error permitted on
verification instead. Transducers and the rest: 1 %, the accuracy class common among them."""


@dataclass(frozen=True, slots=True)
class Bench:
    """What the guide works with: how to speak and listen, and how to wait for a resting reading of the channel."""

    say: Say
    ask: Ask
    rest: Callable[[], Rest]


def guide(bench: Bench, channel: str, unit: str, scale: tuple[ScaleClass, float] | None) -> tuple[list, Calibration]:
    """Lead through the points and fit them; (points, calibration). scale: class and e in g of a weighing channel.

    Raises CalibrationError when the points must not be used, UnsteadyError when the channel does not rest.
    """
    points = [_first(bench, channel, unit)]
    while (point := _next(bench, channel, unit, len(points))) is not None:
        points.append(point)
    limit = _limit(channel, max(abs(p.value) for p in points), scale)
    calibration = calibration_from(points, limit)
    _show(bench.say, points, calibration, unit, limit)
    return points, calibration


def known_value(channel: str, text: str) -> float:
    """What a person types for a known value: a mass with its unit on the scale, a number elsewhere."""
    if channel == "scale":
        return 0.0 if text.strip() in ("0", "0 g") else parse_mass_g(text)
    try:
        return float(text.replace(",", "."))
    except ValueError:
        raise ValueError(f"{text!r} is no number; write for instance 350 or 350.5") from None


def _first(bench: Bench, channel: str, unit: str) -> KnownPoint:
    if channel == "scale":
        bench.say("Step 1, nothing: clear the platform. No container, no hose touching, no hand on the cart.")
        bench.ask("Press Enter when it stands free. ")
        value = 0.0
    else:
        bench.say(f"Step 1, a first known value of {channel}: open to air is 0 {unit} for a gauge-pressure transducer.")
        value = _asked(bench, channel, f"Known value in {unit} (Enter for 0): ") or 0.0
    return _taken(bench, value, unit)


def _next(bench: Bench, channel: str, unit: str, taken: int) -> KnownPoint | None:
    if channel == "scale":
        bench.say(f"Step {taken + 1}, a known mass: set it down gently in the middle of the platform and let go.")
        value = _asked(bench, channel, f"Its mass, for instance 2 kg (Enter {_when_done(taken)}): ")
    else:
        bench.say(f"Step {taken + 1}, another known value of {channel}, read from a reference instrument.")
        value = _asked(bench, channel, f"Known value in {unit} (Enter {_when_done(taken)}): ")
    return None if value is None else _taken(bench, value, unit)


def _when_done(taken: int) -> str:
    return "when done" if taken > 1 else "to give up"


def _asked(bench: Bench, channel: str, prompt: str) -> float | None:
    """The value typed; None for an empty line. Nonsense is answered and asked again."""
    while text := bench.ask(prompt).strip():
        try:
            return known_value(channel, text)
        except ValueError as error:
            bench.say(f"  {error}")
    return None


def _taken(bench: Bench, value: float, unit: str) -> KnownPoint:
    bench.say("  waiting until it rests ...")
    rest = bench.rest()
    bench.say(f"  {value:g} {unit} is code {rest.code:.1f} (one reading scatters by {rest.code_sd:.1f}, {rest.n} read)")
    return KnownPoint(value, rest.code, rest.code_sd, rest.n)


def _limit(channel: str, largest: float, scale: tuple[ScaleClass, float] | None) -> float:
    if scale:
        return oiml_mpe_g(*scale, largest, in_service=False)
    return STRAIGHT_SHARE.get(channel, 0.01) * largest


def _show(say: Say, points: list[KnownPoint], calibration: Calibration, unit: str, limit: float) -> None:
    say("")
    say(f"{'known':>12} {'fitted':>12} {'off by':>10}   ({unit}, at most ±{limit:.3g})")
    for point in points:
        fitted = calibration.value(point.code)
        say(f"{point.value:12.2f} {fitted:12.2f} {fitted - point.value:+10.3f}")
    repeats = repeatability(points, calibration)
    say(f"One unit of code is {abs(calibration.slope):.4g} {unit}; the points repeat to {repeats:.2g} {unit}.")
    if len(points) == 2:
        say("Two points cannot show whether the sensor is straight; a third in between would.")
