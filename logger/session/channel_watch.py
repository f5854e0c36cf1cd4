"""Channels that fall silent or say only that they cannot say: named, and cleared when they speak again."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from logger.measure.ticks import Signal
from logger.session.ticker import ChannelState

DANGER_WITHOUT = ("scale",)
NEVER_HEARD_S = 4.0
"""Without what is vital nothing may begin in silence; a board takes two seconds to wake. Others may not be fitted."""
FROZEN = (
    "{name} has shown the very same value for {still} s, which no live sensor does: check the sensor and its cable; "
    "what hangs on it is not judged"
)
MESSAGES = {
    "stale": ("sensor-stale", "No reading from {name} for {ago:.0f} s: check its cable; what needs it is not judged"),
    "fault": ("sensor-fault", "{name} reports no valid value: check the sensor; what hangs on it is not judged"),
}


class ChannelWatch:
    """Compares each channel's quality with what it was a second before."""

    def __init__(self) -> None:
        self._standing: dict[str, Signal] = {}

    def update(self, now_s: float, channels: Mapping[str, ChannelState]) -> Iterator[tuple[str, Signal]]:
        """(channel, signal) for each change."""
        for name, state in channels.items():
            if state.heard_t_s is None and (name not in DANGER_WITHOUT or now_s < NEVER_HEARD_S):
                continue
            quality = state.quality_now
            if quality == "good" and name not in self._standing:
                continue
            code = MESSAGES[quality][0] if quality != "good" else None
            standing = self._standing.get(name)
            if standing is not None and standing.code != code:
                del self._standing[name]
                yield name, Signal(standing.code, standing.severity, False, standing.message)
            if code is not None and name not in self._standing:
                self._standing[name] = self._signal(name, quality, now_s - (state.heard_t_s or 0.0), state)
                yield name, self._standing[name]

    def _signal(self, name: str, quality: str, ago_s: float, state: ChannelState) -> Signal:
        code, words = MESSAGES[quality]
        if quality == "fault" and state.tremor.frozen:
            words = FROZEN
        severity = "danger" if name in DANGER_WITHOUT else "caution"
        message = words.format(name=name, ago=ago_s, still=state.tremor.still_s)
        if name in DANGER_WITHOUT:
            message += ". While charging: close the container's valve"
        return Signal(code, severity, True, message)
