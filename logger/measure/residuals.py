"""What readings that left their trend are doing: a step, a change of flow, more noise, or nothing to be named yet.

A step of tens of grams within half a second is no flow: a hand, a tool, a bump that moved something. A change of flow
leaves the old trend along a line that starts on it; a valve that closes leaves the readings level, one that opens lets
a few grams rush into the hose first. Each is fitted to the same residuals (reading less old trend) by least squares,
and the likeliest is taken once the evidence suffices. Log-likelihoods are those of independent normal residuals, with
one unit of penalty for each further parameter (Akaike 1974).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp, log, sqrt

EDGE_S = 0.6
"""A hand or a tool has come to rest within this, a valve has been turned."""
STEP_WOBBLE_G = 1.5
"""What rests on a platform does not rest quite still."""
BEGINS_S = (-3.0, 0.35)
"""Where, from the moment the reading left its trend, a change of flow may have begun."""
RUSH_MOST_G = 15.0
"""What an empty hose swallows at once when the valve is opened (60 ml of liquid is more, but comes slower)."""
MISFIT = 6.0
"""Mean squared residual, in variances, above which a hypothesis explains nothing."""
LATE_LEAST = 5
NOISE_S = 0.9
NOISE_CROSSINGS = 3
NOISE_MEAN_SHARE = 0.5
NOISE_MOST_G = 8.0
NOISE_LASTS = 0.4
"""A bump rings out; an engine goes on."""


@dataclass(frozen=True, slots=True)
class Line:
    """r = level + slope (t - t_mid), with the variances of both for unit noise."""

    t_mid: float
    level: float
    slope: float
    level_var: float
    slope_var: float
    sse: float

    def at(self, t_s: float) -> float:
        return self.level + self.slope * (t_s - self.t_mid)

    @property
    def starts_s(self) -> float:
        """Where it crosses zero; far in the past where it never does."""
        return self.t_mid - self.level / self.slope if abs(self.slope) > 1e-9 else -1e9


@dataclass(frozen=True, slots=True)
class Verdict:
    """kind: "step" (level_g, its spread), "flow" (the line), "noise" (its spread) or "" (not decided).

    margin: by how much it is likelier than the best of the other kind.
    """

    kind: str = ""
    level_g: float = 0.0
    spread_g: float = 0.0
    line: Line | None = None
    margin: float = 0.0

    @property
    def confidence(self) -> float:
        """Its share of the likelihood of both kinds."""
        return 1.0 / (1.0 + exp(-self.margin))


def fit_line(t: Sequence[float], r: Sequence[float], slope: float | None = None) -> Line:
    """Least squares line through at least two points at different times; with `slope` only its level is fitted."""
    n = len(t)
    t_mid, level = sum(t) / n, sum(r) / n
    sxx = sum((a - t_mid) ** 2 for a in t)
    if slope is None:
        slope = sum((a - t_mid) * b for a, b in zip(t, r, strict=True)) / sxx
    sse = sum((b - level - slope * (a - t_mid)) ** 2 for a, b in zip(t, r, strict=True))
    return Line(t_mid, level, slope, 1.0 / n, 1.0 / sxx, sse)


def fit_from(t: Sequence[float], r: Sequence[float], start_s: float) -> Line:
    """The best line that crosses zero at `start_s`."""
    free = fit_line(t, r)
    slope = sum((a - start_s) * b for a, b in zip(t, r, strict=True)) / sum((a - start_s) ** 2 for a in t)
    sse = sum((b - slope * (a - start_s)) ** 2 for a, b in zip(t, r, strict=True))
    return Line(free.t_mid, slope * (free.t_mid - start_s), slope, free.level_var, free.slope_var, sse)


def judge(t: Sequence[float], r: Sequence[float], onset_s: float, r_g2: float, flow_g_per_s: float) -> Verdict:
    """Step or change of flow, from the residuals `r` (g) at `t` (s) since `onset_s`.

    r_g2: variance of a reading. flow_g_per_s: the old trend's. "" where fewer than five readings lie beyond the edge
    or nothing fits.
    """
    late = [(a, b) for a, b in zip(t, r, strict=True) if a > onset_s + EDGE_S]
    n = len(late)
    if n < LATE_LEAST:
        return Verdict()
    tl, rl = [a for a, _ in late], [b for _, b in late]
    step = fit_line(tl, rl, 0.0)
    step_r = r_g2 + STEP_WOBBLE_G**2
    step_likelihood = -0.5 * (step.sse / step_r + n * log(step_r))
    line, penalty = _best_flow(tl, rl, onset_s, r_g2, flow_g_per_s)
    flow_likelihood = -0.5 * (line.sse / r_g2 + n * log(r_g2)) - penalty
    if min(step.sse / step_r, line.sse / r_g2) > MISFIT * n:
        return Verdict()
    margin = abs(step_likelihood - flow_likelihood)
    if step_likelihood >= flow_likelihood:
        return Verdict("step", step.level, sqrt(step.sse / n), None, margin)
    return Verdict("flow", line.level, sqrt(line.sse / n), line, margin)


def _best_flow(
    t: Sequence[float], r: Sequence[float], onset_s: float, r_g2: float, flow_g_per_s: float
) -> tuple[Line, float]:
    """The likeliest change of flow and the penalty of its parameters beyond the step's one."""
    free = fit_line(t, r)
    earliest, latest = onset_s + BEGINS_S[0], onset_s + BEGINS_S[1]
    candidates = []
    if earliest <= free.starts_s <= latest:
        candidates.append((free, 1.0))
    else:
        candidates.append((fit_from(t, r, min(max(free.starts_s, earliest), latest)), 1.0))
        if free.slope < 0.0 and -RUSH_MOST_G <= free.at(onset_s) < 0.0:
            candidates.append((free, 2.0))
    if flow_g_per_s > 0.0:
        closed = fit_line(t, r, flow_g_per_s)
        if earliest <= closed.starts_s <= latest:
            candidates.append((closed, 0.0))
    return min(candidates, key=lambda c: c[0].sse / r_g2 + 2.0 * c[1])


def is_noise(t: Sequence[float], r: Sequence[float]) -> float | None:
    """The scatter of readings that swing about the trend without leaving it, None where they do not."""
    tail = [b for a, b in zip(t, r, strict=True) if a > t[-1] - NOISE_S]
    if len(tail) < 8 or t[-1] - t[0] < 0.9 * NOISE_S:
        return None
    crossings = sum(a * b < 0.0 for a, b in zip(tail, tail[1:], strict=False))
    mean = sum(tail) / len(tail)
    scatter = sqrt(sum(b * b for b in tail) / len(tail))
    swings = crossings >= NOISE_CROSSINGS and abs(mean) < NOISE_MEAN_SHARE * scatter and scatter < NOISE_MOST_G
    half = len(tail) // 2
    return scatter if swings and max(map(abs, tail[half:])) > NOISE_LASTS * max(map(abs, tail[:half])) else None


def settled(t: Sequence[float], r: Sequence[float], window_s: float, noise_g: float) -> float | None:
    """The level of the last `window_s` where the residuals lie quietly there, else None."""
    tail = [b for a, b in zip(t, r, strict=True) if a > t[-1] - window_s]
    if len(tail) < LATE_LEAST or t[-1] - t[0] < window_s:
        return None
    level = sum(tail) / len(tail)
    spread = sqrt(sum((b - level) ** 2 for b in tail) / len(tail))
    half = len(tail) // 2
    moved = abs(sum(tail[:half]) / half - sum(tail[half:]) / (len(tail) - half))
    quiet = 2.0 * noise_g + STEP_WOBBLE_G
    return level if spread <= quiet and moved <= quiet else None
