"""What a reading that left its trend is doing: a step, a change of flow, or nothing that can be named yet.

A step of tens of grams within half a second is no flow: a hand, a tool, a bump that moved something. A change of flow
leaves the old trend along a line that starts on it. Both are fitted to the same residuals (reading less old trend) and
the likelier one is taken once the evidence suffices. Fits are least squares; the comparison is the log-likelihood of
independent normal residuals with one unit of penalty for each further parameter (Akaike 1974).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import log, sqrt

EDGE_S = 0.6
"""A hand or a tool has come to rest within this."""
STEP_WOBBLE_G = 1.5
"""What rests on a platform does not rest quite still."""
RAMP_STARTS_S = (-3.0, 0.35)
"""Where, from the moment the reading left its trend, a change of flow may have begun."""
MISFIT = 6.0
"""Mean squared residual, in variances, above which neither explains anything."""


@dataclass(frozen=True, slots=True)
class Line:
    """r = level + slope (t - t_mid), with variances for unit noise."""

    t_mid: float
    level: float
    slope: float
    level_var: float
    slope_var: float
    sse: float

    def at(self, t_s: float) -> float:
        return self.level + self.slope * (t_s - self.t_mid)


@dataclass(frozen=True, slots=True)
class Verdict:
    """kind: "step" (level_g, its spread), "flow" (the line) or "" (not decided)."""

    kind: str = ""
    level_g: float = 0.0
    spread_g: float = 0.0
    line: Line | None = None
    margin: float = 0.0


def fit_line(t: Sequence[float], r: Sequence[float]) -> Line:
    """Least squares line through at least two points at different times."""
    n = len(t)
    t_mid, level = sum(t) / n, sum(r) / n
    sxx = sum((a - t_mid) ** 2 for a in t)
    slope = sum((a - t_mid) * b for a, b in zip(t, r, strict=True)) / sxx
    sse = sum((b - level - slope * (a - t_mid)) ** 2 for a, b in zip(t, r, strict=True))
    return Line(t_mid, level, slope, 1.0 / n, 1.0 / sxx, sse)


def fit_ramp(t: Sequence[float], r: Sequence[float], onset_s: float) -> Line:
    """The best line that crosses zero where a change of flow can have begun, `onset_s` being when it was noticed."""
    free = fit_line(t, r)
    start = free.t_mid - free.level / free.slope if free.slope else -1e9
    earliest, latest = onset_s + RAMP_STARTS_S[0], onset_s + RAMP_STARTS_S[1]
    if earliest <= start <= latest:
        return free
    start = min(max(start, earliest), latest)
    slope = sum((a - start) * b for a, b in zip(t, r, strict=True)) / sum((a - start) ** 2 for a in t)
    sse = sum((b - slope * (a - start)) ** 2 for a, b in zip(t, r, strict=True))
    return Line(free.t_mid, slope * (free.t_mid - start), slope, free.level_var, free.slope_var, sse)


def judge(t: Sequence[float], r: Sequence[float], onset_s: float, r_g2: float) -> Verdict:
    """Step or change of flow, from the residuals `r` (g) at `t` (s) since `onset_s`, of variance `r_g2`.

    margin is the difference of their log-likelihoods; "" where fewer than five readings lie beyond the edge or
    neither fits.
    """
    late = [(a, b) for a, b in zip(t, r, strict=True) if a > onset_s + EDGE_S]
    n = len(late)
    if n < 5:
        return Verdict()
    tl, rl = [a for a, _ in late], [b for _, b in late]
    level = sum(rl) / n
    step_sse = sum((b - level) ** 2 for b in rl)
    ramp = fit_ramp(tl, rl, onset_s)
    step_r = r_g2 + STEP_WOBBLE_G**2
    step_likelihood = -0.5 * (step_sse / step_r + n * log(step_r))
    ramp_likelihood = -0.5 * (ramp.sse / r_g2 + n * log(r_g2)) - 1.0
    if min(step_sse / step_r, ramp.sse / r_g2) > MISFIT * n:
        return Verdict()
    margin = abs(step_likelihood - ramp_likelihood)
    if step_likelihood >= ramp_likelihood:
        return Verdict("step", level, sqrt(step_sse / n), None, margin)
    return Verdict("flow", level, sqrt(ramp.sse / n), ramp, margin)


def settled(t: Sequence[float], r: Sequence[float], window_s: float, noise_g: float) -> float | None:
    """The level of the last `window_s` where the residuals lie quietly there, else None."""
    tail = [b for a, b in zip(t, r, strict=True) if a > t[-1] - window_s]
    if len(tail) < 5 or t[-1] - t[0] < window_s:
        return None
    level = sum(tail) / len(tail)
    spread = sqrt(sum((b - level) ** 2 for b in tail) / len(tail))
    half = len(tail) // 2
    moved = abs(sum(tail[:half]) / half - sum(tail[half:]) / (len(tail) - half))
    quiet = 2.0 * noise_g + STEP_WOBBLE_G
    return level if spread <= quiet and moved <= quiet else None
