"""Random fills through the pipeline, beside a ten-sample moving average with a plain threshold; their errors."""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass

import numpy as np

from firmware_bridge.blocks import Block
from firmware_bridge.virtual.rollout import Rollout, rollout
from firmware_bridge.virtual.scenario import random_fill
from logger.measure.marks import Mark
from logger.session.pipeline import Pipeline
from logger.session.setup import SessionSetup, channel_infos

KINDS = ("undisturbed", "fast_liquid", "disturbed", "three_cans")
MARKS = ("complete", "late", "missing")
AVERAGED = 10


@dataclass(frozen=True)
class Outcome:
    """One fill. stop_g, average_g: what would be delivered, less the target, had the technician closed his lag after
    either said stop (None: never said). delivered_g: found less true. u_g: expanded uncertainty. All in g."""

    kind: str
    seed: int
    stop_g: float | None
    average_g: float | None
    delivered_g: float
    u_g: float


def play(kind: str, seed: int) -> Rollout:
    """The fill of that kind and seed, the technician deaf, so that it runs on past the target."""
    scenario = random_fill(seed, kind, marks=MARKS[seed % 3], rate_hz=80.0 if seed % 5 == 0 else 10.0)
    return rollout(scenario)


def misread(played: Rollout, seed: int, slope_sd: float) -> Rollout:
    """The same with a scale whose slope is off by a normal share of that spread, as a calibration leaves it."""
    scale = played.channel == played.channels.index("scale")
    played.value[scale] *= 1.0 + np.random.default_rng([seed, 5]).normal(0.0, slope_sd)
    return played


def sense(played: Rollout) -> dict:
    """The findings of a played fill."""
    pipeline = Pipeline(SessionSetup.from_json(played.setup), channel_infos(played.setup["channels"]))
    for item in played.batches(1e9):
        if isinstance(item, tuple):
            pipeline.mark(Mark(*item))
        else:
            pipeline.feed(item)
    return pipeline.findings()


def delivered_at(charge: dict, t_s: float) -> float:
    """True mass delivered if the valve closed at `t_s`."""
    for curve in (charge["delivered_fine"], charge["delivered"]):
        times, masses = curve["t_s"], next(column for name, column in curve.items() if name != "t_s")
        if times[0] <= t_s <= times[-1]:
            return float(np.interp(t_s, times, masses))
    return charge["delivered_g"]


def stop_error_g(charge: dict, stop_t_s: float | None) -> float | None:
    """What a stop said then is off by, in g."""
    return None if stop_t_s is None else delivered_at(charge, stop_t_s + charge["close_lag_s"]) - charge["target_g"]


def average_stop_s(scale: Block, truth: dict) -> float | None:
    """When a ten-sample moving average of the platform's loss crosses the target; told when containers come and go.

    What earlier containers gave it takes from its own readings.
    """
    valid = np.isfinite(scale.value)
    t, g = scale.t_s[valid], scale.value[valid]
    before = 0.0
    for stay in truth["containers"]:
        here = (t > stay["on_t_s"] + 3.0) & (t < (stay["off_t_s"] or np.inf) - 1.0)
        if stay["drawn_g"] <= 0.0 or here.sum() <= 2 * AVERAGED:
            continue
        smooth = np.convolve(g[here], np.ones(AVERAGED) / AVERAGED, "valid")
        lost = before + smooth[0] - smooth
        times = t[here][AVERAGED - 1 :]
        crossed = times[(lost >= truth["charge"]["target_g"]) & (times > truth["charge"]["started_t_s"])]
        if len(crossed):
            return float(crossed[0])
        before = float(np.median(lost[-AVERAGED:]))
    return None


def judge(kind: str, seed: int, slope_sd: float = 0.0) -> Outcome:
    """Play one fill and sense it, with a scale whose slope is off by a share of spread `slope_sd`."""
    played = misread(play(kind, seed), seed, slope_sd)
    findings, charge = sense(played)["charge"], played.truth["charge"]
    scale = Block("scale", *played.readings("scale"))
    return Outcome(
        kind,
        seed,
        stop_error_g(charge, findings["stop_alert_t_s"]),
        stop_error_g(charge, average_stop_s(scale, played.truth)),
        (findings["delivered_g"] or 0.0) - charge["delivered_g"],
        findings["uncertainty_g"] or 0.0,
    )


def outcomes(fills: int, first_seed: int, slope_sd: float = 0.0, workers: int = 2) -> Iterator[Outcome]:
    """`fills` of each kind, seeds from `first_seed` on."""
    jobs = [(kind, seed, slope_sd) for kind in KINDS for seed in range(first_seed, first_seed + fills)]
    with ProcessPoolExecutor(workers) as pool:
        yield from pool.map(judge, *zip(*jobs, strict=True), chunksize=8)
