"""Hold verdicts on simulated holds: how many are right, how close the leak rate comes, and what a fit costs.

Run: python tests/bench/bench_hold.py [number of holds]
"""

from __future__ import annotations

import sys
import time

import numpy as np
from holds import Hold, mixed_holds, simulate_hold

from logger.measure.hold_verdict import HoldReadings, HoldVerdict, judge_hold

ACCEPTED = {"tight": {"tight"}, "moisture": {"moisture"}}
SURE_LEAK_PA_PER_S = 0.01
"""From here a leak must be called one; a smaller one may stay unseen, if what is said of it is true."""


def judge(hold: Hold) -> HoldVerdict:
    """The verdict on one simulated hold."""
    return judge_hold(HoldReadings(hold.t_s, hold.p_pa, hold.temp_c, marked=True))


def right(hold: Hold, verdict: HoldVerdict) -> bool:
    """Whether a verdict is right for what was simulated; `tight` on a small leak only if its bound lies above the
    leak."""
    if hold.kind != "leak":
        return verdict.verdict in ACCEPTED[hold.kind]
    if verdict.verdict == "leak":
        return True
    small = hold.leak_pa_per_s < SURE_LEAK_PA_PER_S
    return small and (verdict.verdict == "inconclusive" or verdict.ci95[1] >= hold.leak_pa_per_s)


def score(holds: list[Hold]) -> dict[str, float]:
    """Shares and worst cases over holds."""
    judged = [(hold, judge(hold)) for hold in holds]
    leaks = [(h, v) for h, v in judged if h.kind == "leak" and h.leak_pa_per_s >= SURE_LEAK_PA_PER_S]
    error = np.array([abs(v.rise_pa_per_s / h.leak_pa_per_s - 1.0) for h, v in leaks])
    inside = [v.ci95[0] <= h.leak_pa_per_s <= v.ci95[1] for h, v in judged if v.ci95]
    return {
        "holds": len(judged),
        "right": np.mean([right(h, v) for h, v in judged]),
        "leaks of 0.05 Pa/s and more called tight": sum(
            v.verdict == "tight" for h, v in judged if h.kind == "leak" and h.leak_pa_per_s >= 0.05
        ),
        "tight ones called leak": sum(v.verdict == "leak" for h, v in judged if h.kind == "tight"),
        "rate within 20 % (leaks of 0.01 Pa/s and more)": np.mean(error <= 0.2),
        "worst error of a rate": np.max(error),
        "interval holds the true rate": np.mean(inside),
    }


def drifting(count: int, seed: int) -> list[Hold]:
    """Tight holds of 15…45 minutes in which ambient drifts by 8 K either way."""
    rng = np.random.default_rng(seed)
    return [
        simulate_hold(rng, "tight", 0.0, int(rng.uniform(900, 2700)), rng.choice([-8.0, 8.0])) for _ in range(count)
    ]


def main(count: int = 200) -> None:
    """Print the table."""
    holds = mixed_holds(count, seed=7)
    print("simulated holds")
    for name, value in score(holds).items():
        print(f"  {name:50} {value:10.3f}")
    drifted = [judge(hold).verdict for hold in drifting(count // 2, seed=11)]
    print(f"  {'tight with 8 K drift: called leak':50} {drifted.count('leak'):10d} of {len(drifted)}")
    print(f"  {'tight with 8 K drift: called tight':50} {drifted.count('tight'):10d} of {len(drifted)}")
    start = time.perf_counter()
    for hold in holds[:50]:
        judge(hold)
    per_fit = (time.perf_counter() - start) / 50
    seconds = np.mean([len(hold.t_s) for hold in holds[:50]])
    print(f"  {'hold seconds per second of judging it once':50} {seconds / per_fit:10.0f}")


if __name__ == "__main__":
    main(*(int(argument) for argument in sys.argv[1:2]))
