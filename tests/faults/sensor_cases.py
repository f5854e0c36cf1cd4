"""The matrix: which fault befalls which sensor in which scene, and what has to come of it."""

from __future__ import annotations

from dataclasses import dataclass, replace

from fault_play import Played
from sensor_faults import Fault

from firmware_bridge.virtual.scenario import random_fill, random_hold
from firmware_bridge.virtual.setting import Scenario, Step

TOLERANCE_G = 15.0
"""Of the published service-equipment standard (SAE J2788, 40 CFR 82 Subpart B App. C, 9.1)."""
DANGER_WITHIN_S = 5.0
NEVER_S = float("inf")


@dataclass(frozen=True)
class Scene:
    """A session without a fault. starts_s: when faults begin. must: alerts that this session brings about anyway."""

    scenario: Scenario
    starts_s: float
    must: tuple[str, ...] = ()
    verdict: str = ""


@dataclass(frozen=True)
class Case:
    """expect: code of the alert that the fault itself must raise within `within_s`; None where it need raise none.

    must: alerts of the scene that must still come. short: why it is not held.
    """

    scene: str
    fault: Fault
    expect: str | None = None
    within_s: float = NEVER_S
    must: tuple[str, ...] = ()
    full_only: bool = False
    short: str = ""

    @property
    def name(self) -> str:
        size = f" {self.fault.size:g}" if self.fault.size else ""
        return f"{self.scene}: {self.fault.channel} {self.fault.kind}{size}"


def _fill(seed: int, kind: str = "undisturbed") -> Scenario:
    return random_fill(seed, kind, marks="complete")


def _hot_container() -> Scenario:
    fill = _fill(28)
    (warm,) = (step.containers[0] for step in fill.steps if step.kind == "charge")
    steps = [replace(s, containers=(replace(warm, warm_c=85.0),)) if s.kind == "charge" else s for s in fill.steps]
    return replace(fill, steps=tuple(steps))


def _no_fan() -> Scenario:
    """The condenser's fan stands: the high side climbs far over its limit once the compressor runs."""
    fill = _fill(28)
    return replace(fill, vehicle=replace(fill.vehicle, condenser_rise_k=75.0), air=replace(fill.air, temp_c=33.0))


def _hold(kind: str) -> Scenario:
    hold = random_hold(1, kind)
    steps = (Step("wait", seconds=3.0), Step("evacuate", seconds=400.0), Step("hold", seconds=700.0), hold.steps[-1])
    return replace(hold, steps=steps)


SCENES = {
    "vapour": Scene(_fill(13), 130.0),
    "liquid": Scene(_fill(3, "fast_liquid"), 90.0),
    "three cans": Scene(_fill(4, "three_cans"), 0.0),
    "hot container": Scene(_hot_container(), 20.0, ("container-hot",)),
    "no fan": Scene(_no_fan(), 112.0, ("high-side-high",)),
    "tight hold": Scene(_hold("tight"), 700.0, verdict="tight"),
    "leaky hold": Scene(_hold("leak"), 700.0, verdict="leak"),
}

_SCALE = (
    ("dead", 0.0, "sensor-stale", DANGER_WITHIN_S),
    ("stuck", 0.0, "sensor-fault", DANGER_WITHIN_S),
    ("saturated", 0.0, "sensor-fault", DANGER_WITHIN_S),
    ("railed", 39_000.0, "sensor-fault", DANGER_WITHIN_S),
    ("intermittent", 5.0, "sensor-stale", DANGER_WITHIN_S),
    ("late", 4.0, "sensor-stale", DANGER_WITHIN_S),
    ("late", 0.6, None, NEVER_S),
    ("slow", 3.0, "sensor-stale", DANGER_WITHIN_S),
    ("noisy", 10.0, None, NEVER_S),
    ("spiking", 2e5, None, NEVER_S),
    ("spiking", 300.0, None, NEVER_S),
    ("shifted", 100.0, "scale-disturbed", DANGER_WITHIN_S),
    ("shifted", -100.0, "scale-disturbed", DANGER_WITHIN_S),
)
_PRESSURE = (
    ("dead", 0.0, "sensor-stale", DANGER_WITHIN_S),
    ("stuck", 0.0, "sensor-fault", 12.0),
    ("saturated", 0.0, "sensor-fault", DANGER_WITHIN_S),
    ("intermittent", 8.0, "sensor-stale", DANGER_WITHIN_S),
    ("slow", 4.0, "sensor-stale", DANGER_WITHIN_S),
    ("late", 4.0, "sensor-stale", DANGER_WITHIN_S),
    ("noisy", 60.0, None, NEVER_S),
    ("spiking", 400.0, None, NEVER_S),
    ("wrong scale", 0.8, None, NEVER_S),
    ("shifted", -60.0, None, NEVER_S),
)
_PROBE = (
    ("dead", 0.0, "sensor-stale", 12.0),
    ("saturated", 0.0, "sensor-fault", 12.0),
    ("slow", 25.0, "sensor-stale", 12.0),
    ("spiking", 30.0, None, NEVER_S),
)
_STILL_TOLD = ("noisy", "spiking", "late", "slow", "intermittent")
"""Faults under which what the sensor is there for must still be told."""
_DISTURBED = ("scale-disturbed", DANGER_WITHIN_S)
_LOST_AT_SWAPS = "a can's last grams and the next one's first rest are weighed in seconds: each by ten grams off"


def _over(scene: str, channel: str, rows: tuple, must: tuple[str, ...] = (), full_only: bool = False) -> list[Case]:
    start_s = SCENES[scene].starts_s
    return [
        Case(scene, Fault(kind, channel, start_s, size=size), expect, within_s, must, full_only)
        for kind, size, expect, within_s in rows
    ]


def cases() -> list[Case]:
    """All of them, those of the short form first."""
    vapour_s, fan_s = SCENES["vapour"].starts_s, SCENES["no fan"].starts_s
    some = _over("vapour", "scale", _SCALE)
    some += _over("vapour", "low_side", _PRESSURE[:3]) + _over("vapour", "high_side", _PRESSURE[6:8])
    some += [Case("vapour", Fault("swapped", "scale", vapour_s, other="high_side"), *_DISTURBED)]
    some += [Case("vapour", Fault("swapped", "low_side", 0.0, other="high_side"))]
    some += [Case("vapour", Fault("wrong scale", "scale", 0.0, size=1.01))]
    some += [Case("vapour", Fault("wrong scale", "scale", vapour_s, size=0.5), *_DISTURBED)]
    some += [Case("vapour", Fault("noisy", "scale", vapour_s, size=20.0), *_DISTURBED)]
    told = [row for row in _PRESSURE if row[0] in _STILL_TOLD]
    some += _over("no fan", "high_side", tuple(told), ("high-side-high",))
    some += [Case("no fan", Fault(kind, "scale", fan_s), None, must=("high-side-high",)) for kind in ("dead", "stuck")]
    some += [Case("no fan", Fault("swapped", "low_side", 0.0, other="high_side"), None, must=("high-side-high",))]
    some += _over("hot container", "container_temp", _PROBE[3:], ("container-hot",))
    more = _over("liquid", "scale", _SCALE[:6] + _SCALE[8:])
    more += [Case("liquid", Fault("noisy", "scale", SCENES["liquid"].starts_s, size=20.0), *_DISTURBED)]
    more += [Case("three cans", Fault("noisy", "scale", 0.0, size=20.0), short=_LOST_AT_SWAPS)]
    more += _over("vapour", "high_side", _PRESSURE[:6]) + _over("vapour", "low_side", _PRESSURE[3:])
    more += _over("vapour", "container_temp", _PROBE) + _over("vapour", "suction_temp", _PROBE)
    vacuum = (*_PRESSURE[:1], *_PRESSURE[2:3], ("spiking", 500.0, None, NEVER_S), ("noisy", 5.0, None, NEVER_S))
    more += _over("tight hold", "vacuum", vacuum) + _over("leaky hold", "vacuum", vacuum)
    more += _over("tight hold", "ambient_temp", _PROBE)
    return some + [replace(case, full_only=True) for case in more]


def what_failed(case: Case, played: Played) -> list[str]:
    """Every demand that was not met, in words; none when the case held."""
    wrong = _not_told(case, played)
    codes = {alert["code"] for alert in played.alerts}
    wrong += [f"{code} never came" for code in case.must if code not in codes]
    return wrong + _bad_stop(played) + _bad_verdict(SCENES[case.scene], played)


def _not_told(case: Case, played: Played) -> list[str]:
    if case.expect is None:
        return []
    after = [a["t_s"] for a in played.alerts if a["code"] == case.expect and a["t_s"] >= case.fault.start_s]
    if not after:
        return [f"{case.expect} never came"]
    took_s = min(after) - case.fault.start_s
    return [] if took_s <= case.within_s else [f"{case.expect} after {took_s:.1f} s"]


def _bad_stop(played: Played) -> list[str]:
    charge = played.truth.get("charge") or {}
    target_g = charge.get("target_g")
    if not charge.get("delivered_g") or target_g is None:
        return []
    wrong = []
    if charge["delivered_g"] > target_g + TOLERANCE_G:
        wrong.append(f"stop missed: {charge['delivered_g'] - target_g:+.0f} g")
    stopped = any(alert["code"] == "stop-charging" and not _told_to_close(alert, played) for alert in played.alerts)
    if stopped and charge["delivered_g"] < target_g - TOLERANCE_G:
        wrong.append(f"false stop: {charge['delivered_g'] - target_g:+.0f} g")
    return wrong


def _told_to_close(stop: dict, played: Played) -> bool:
    """A danger came before, whose words had him close the valve already."""
    return any(alert["severity"] == "danger" and alert["t_s"] <= stop["t_s"] for alert in played.alerts)


def _bad_verdict(scene: Scene, played: Played) -> list[str]:
    if not scene.verdict:
        return []
    found = {hold["verdict"] for hold in played.findings["vacuum_hold"]}
    return [f"verdict {v}, truly {scene.verdict}" for v in sorted(found - {scene.verdict, "inconclusive"})]
