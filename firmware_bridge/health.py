"""How each channel of a source fares: readings counted, faults remembered, staleness judged."""

from __future__ import annotations

from dataclasses import replace

from firmware_bridge.clock import Clock
from firmware_bridge.source import ChannelHealth

MISSED_PERIODS = 10
LEAST_STALE_S = 1.0
NOT_OPEN = "not open"
LEAST_REAL_S = 0.5
"""On a clock that runs fast, no judgement may hang on less wall time than a busy machine's hiccup."""


def patience_s(clock: Clock, seconds: float, least_real_s: float = LEAST_REAL_S) -> float:
    """`seconds` of the clock, or more where they would pass in less than `least_real_s` on the wall."""
    return max(seconds, least_real_s * clock.speed)


class HealthBook:
    """The health of a source's channels; written by its thread, read from any.

    rates_hz: channel -> nominal rate, which says when it is stale: after ten missed periods, one second at least.
    """

    def __init__(self, rates_hz: dict[str, float], clock: Clock):
        self._clock = clock
        self._limit_s = {
            name: patience_s(clock, max(LEAST_STALE_S, MISSED_PERIODS / rate)) for name, rate in rates_hz.items()
        }
        self._health = {name: ChannelHealth(name) for name in rates_hz}
        self._faults: dict[str, str] = {}
        self._link_reason = NOT_OPEN

    def reading(self, channel: str, t_s: float) -> None:
        """A valid reading has come."""
        entry = self._health[channel]
        entry.last_t_s = t_s
        entry.readings += 1
        self._faults.pop(channel, None)

    def invalid(self, channel: str, reason: str) -> None:
        """A reading has come and is none, for a reason."""
        self._health[channel].invalid += 1
        self.fault(channel, reason)

    def fault(self, channel: str, reason: str) -> None:
        self._faults[channel] = reason

    def clear(self, channel: str) -> None:
        self._faults.pop(channel, None)

    def link_down(self, reason: str) -> None:
        """Why nothing can come at the moment; it stands through closing and opening until something does come."""
        self._link_reason = reason

    def link_up(self) -> None:
        """Something has come, or the device has answered."""
        self._link_reason = ""

    def opened(self) -> None:
        """The device is open; whether anything comes is yet to be seen."""
        if self._link_reason == NOT_OPEN:
            self._link_reason = ""

    def closed(self) -> None:
        self._link_reason = self._link_reason or NOT_OPEN

    def judge(self) -> list[ChannelHealth]:
        return [self._judged(entry) for entry in self._health.values()]

    def _judged(self, entry: ChannelHealth) -> ChannelHealth:
        age_s = float("inf") if entry.last_t_s is None else self._clock.now() - entry.last_t_s
        overdue = age_s > self._limit_s[entry.channel]
        fault = self._faults.get(entry.channel)
        if fault and not (overdue and self._link_reason):
            return replace(entry, quality="fault", reason=fault)
        if overdue:
            return replace(entry, quality="stale", reason=self._link_reason or _nothing_for(age_s))
        return replace(entry, quality="good", reason="")


def _nothing_for(age_s: float) -> str:
    return "no reading yet" if age_s == float("inf") else f"no reading for {age_s:.1f} s"
