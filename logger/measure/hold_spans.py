"""When a hold began and ended, from the pressure itself; the technician's marks are hints."""

from __future__ import annotations

from collections import deque

import numpy as np

DEEP_PA = 2000.0
REFINE_S = 60.0
LOOK_BACK_S = 240
MARK_TRUSTED_S = 20.0
"""A mark this near the turn of the pressure is taken as it is: noise moves the turn as far."""

FALLING_SHARE = 1.6
RISE_SHARE = 1.1
BLOCK = 20
CLEAR_GAIN = 16.0
JUMP_PA = 150.0
"""In five seconds no leak worth a hold and no water behind a wall raises a circuit so far; a valve that opens does."""

LONGEST = 6 * 3600


def onset(t_s: np.ndarray, p_pa: np.ndarray) -> float | None:
    """Time at which the pressure turned from pumping to rising, or None where no turn stands out of the noise.

    Two straight lines in ln p, each by least squares; the split with the least misfit, if the second rises more than
    the first and the gain over one line is clear.
    """
    if len(t_s) < 30 or np.min(p_pa) <= 0.0:
        return None
    y, x = np.log(p_pa), t_s - t_s[0]
    splits = np.arange(8, len(x) - 8)
    before, after = _misfits(x, y), _misfits((x[-1] - x)[::-1], y[::-1])[::-1]
    total = before[splits - 1] + after[splits]
    best = int(splits[np.argmin(total)])
    noise = np.mean(np.diff(y) ** 2) / 2.0
    turned = np.polyfit(x[best:], y[best:], 1)[0] > max(np.polyfit(x[:best], y[:best], 1)[0], 0.0)
    clear = before[-1] - float(np.min(total)) > CLEAR_GAIN * max(noise, 1e-12)
    return float(t_s[best]) if turned and clear else None


def _misfits(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Residual sum of squares of a straight line through the first 1, 2, … n points."""
    n = np.arange(1, len(x) + 1)
    sx, sy, sxx, sxy, syy = (np.cumsum(v) for v in (x, y, x * x, x * y, y * y))
    vxx, vxy, vyy = sxx - sx * sx / n, sxy - sx * sy / n, syy - sy * sy / n
    return np.maximum(vyy - np.where(vxx > 1e-9, vxy**2 / np.maximum(vxx, 1e-9), 0.0), 0.0)


def _after_the_fall(t_s: np.ndarray, p_pa: np.ndarray, mark_t_s: float) -> tuple[np.ndarray, np.ndarray]:
    """What follows the pump-down proper, whose bend would pass for a turn."""
    before = t_s < mark_t_s
    if not before.any():
        return t_s, p_pa
    high = np.flatnonzero(before & (p_pa > FALLING_SHARE * np.min(p_pa)))
    lowest = int(np.argmin(p_pa[before]))
    falling = high[high < lowest]
    first = int(falling[-1]) + 1 if len(falling) else 0
    return t_s[first:], p_pa[first:]


class Span:
    """One hold as it is read: seconds, pressures and temperatures."""

    def __init__(self, start_t_s: float, marked: bool):
        self.start_t_s = start_t_s
        self.marked = marked
        self.refined = not marked
        self.end_t_s: float | None = None
        self.end_reason = ""
        self.t_s: list[float] = []
        self.p_pa: list[float] = []
        self.temp_c: list[float] = []
        self.system_sum_pa, self.system_count = 0.0, 0
        self.saturated_ticks = 0

    def add(self, t_s: float, p_pa: float, temp_c: float) -> None:
        if len(self.t_s) < LONGEST:
            self.t_s.append(t_s)
            self.p_pa.append(p_pa)
            self.temp_c.append(temp_c)

    def drop_before(self, t_s: float) -> None:
        """Forget what came before the hold began."""
        kept = next((index for index, at in enumerate(self.t_s) if at >= t_s), len(self.t_s))
        del self.t_s[:kept], self.p_pa[:kept], self.temp_c[:kept]
        self.start_t_s = t_s

    def trim(self, seconds: int) -> None:
        """Forget the last readings, in which the hold was already ending."""
        if seconds:
            del self.t_s[-seconds:], self.p_pa[-seconds:], self.temp_c[-seconds:]

    @property
    def duration_s(self) -> float:
        return self.t_s[-1] - self.start_t_s if self.t_s else 0.0


class HoldSpans:
    """Finds holds in deep-vacuum readings of a second each. A tick at the sensor's full scale is handed over as
    such."""

    ELSEWHERE = frozenset({"pressure_hold", "charging", "performance", "closed", "recovery"})

    def __init__(self):
        self.current: Span | None = None
        self._past: deque[tuple[float, float, float]] = deque(maxlen=LOOK_BACK_S)
        self._stage = ""
        self._suspect = 0

    def update(self, t_s: float, p_pa: float | None, saturated: bool, temp_c: float, stage: str) -> Span | None:
        """Take one second in; the hold that has just ended, if one has."""
        entered = stage == "vacuum_hold" and self._stage != "vacuum_hold"
        left = stage != self._stage and stage not in ("vacuum_hold", "")
        self._stage = stage
        ended = self._end(t_s, "stage") if self.current and left else None
        if entered:
            self._enter(t_s)
        if p_pa is None:
            return ended
        return self._read(t_s, p_pa, saturated, temp_c, stage) or ended

    def _enter(self, t_s: float) -> None:
        if self.current is None:
            self.current = Span(t_s, marked=True)
            for reading in self._past:
                self.current.add(*reading)
        self.current.marked = True

    def _read(self, t_s: float, p_pa: float, saturated: bool, temp_c: float, stage: str) -> Span | None:
        span = self.current
        if span is None:
            self._remember(t_s, p_pa, saturated, temp_c)
            self._look_for_rise(t_s, stage)
            return None
        if saturated:
            span.saturated_ticks += 1
            return self._end(t_s, "full scale") if self._held(span) and self._suspicious(3) else None
        if self._jumped(span, p_pa):
            return self._end(t_s, "jump", trim=2) if self._suspicious(2) else None
        self._suspect = 0
        span.add(t_s, p_pa, temp_c)
        self._refine(span, t_s)
        if self._falls(span):
            return self._end(t_s, "falls", trim=30)
        return None

    def _remember(self, t_s: float, p_pa: float, saturated: bool, temp_c: float) -> None:
        if saturated:
            self._past.clear()
        else:
            self._past.append((t_s, p_pa, temp_c))

    def _held(self, span: Span) -> bool:
        return bool(span.t_s) and span.t_s[-1] >= span.start_t_s

    def _suspicious(self, ticks: int) -> bool:
        self._suspect += 1
        return self._suspect >= ticks

    def _jumped(self, span: Span, p_pa: float) -> bool:
        if len(span.p_pa) < 10:
            return False
        recent = sorted(span.p_pa[-10:])[5]
        return p_pa > 1.5 * recent + JUMP_PA

    def _falls(self, span: Span) -> bool:
        """The pump is on again: 15 s lie a fifth below 15 s half a minute before."""
        if span.t_s[-1] - span.start_t_s < 60.0 or int(span.t_s[-1]) % 5 or len(span.p_pa) < 60:
            return False
        now, then = sum(span.p_pa[-15:]) / 15.0, sum(span.p_pa[-60:-45]) / 15.0
        return now < 0.8 * then and then - now > 5.0

    def _refine(self, span: Span, t_s: float) -> None:
        """A minute after the mark, put the beginning where the pressure turned."""
        if span.refined or t_s < span.start_t_s + REFINE_S:
            return
        span.refined = True
        t, p = np.array(span.t_s), np.array(span.p_pa)
        at_mark = p[np.abs(t - span.start_t_s) < 5.0]
        late = len(at_mark) > 0 and np.mean(at_mark) > 1.3 * np.min(p) + 2.0
        recent = t >= span.start_t_s - (LOOK_BACK_S if late else REFINE_S)
        turned = onset(*_after_the_fall(t[recent], p[recent], span.start_t_s))
        trusted = turned is None or abs(turned - span.start_t_s) <= MARK_TRUSTED_S
        span.drop_before(span.start_t_s if trusted else turned)

    def _look_for_rise(self, t_s: float, stage: str) -> None:
        if stage in self.ELSEWHERE or len(self._past) < 6 * BLOCK or int(t_s) % 10:
            return
        t, p, _ = np.array(self._past).T
        if t[-1] - t[0] > 1.5 * LOOK_BACK_S:
            return
        blocks = p[len(p) % BLOCK :].reshape(-1, BLOCK).mean(axis=1)
        rises = blocks[-1] > RISE_SHARE * blocks.min() + 0.3 and blocks[-1] > blocks[-2] > blocks[-3]
        if not rises or blocks[-1] > DEEP_PA:
            return
        turned = onset(*_after_the_fall(t, p, t[-1] + 1.0))
        if turned is not None:
            self._begin_unmarked(turned)

    def _begin_unmarked(self, turned: float) -> None:
        self.current = Span(turned, marked=False)
        for reading in self._past:
            if reading[0] >= turned:
                self.current.add(*reading)

    def _end(self, t_s: float, reason: str, trim: int = 0) -> Span:
        span, self.current = self.current, None
        self._past.clear()
        self._suspect = 0
        if not span.refined:
            span.drop_before(span.start_t_s)
        span.trim(trim)
        span.end_t_s = span.t_s[-1] if span.t_s and reason != "stage" else t_s
        span.end_reason = reason
        return span
