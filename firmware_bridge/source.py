"""What every source of readings looks like to the daemon."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Protocol

from firmware_bridge.blocks import Block


class SourceError(OSError):
    """A source cannot be opened or has gone; the message names it and the mend. The caller closes and reopens it."""


@dataclass(slots=True)
class ChannelHealth:
    """How one channel fares. `quality` is "good", "stale" or "fault"; `reason` says why when it is not good."""

    channel: str
    quality: str = "stale"
    reason: str = "no reading yet"
    last_t_s: float | None = None
    readings: int = 0
    invalid: int = 0
    counters: dict[str, int] = field(default_factory=dict)


class Source(Protocol):
    """One device that yields blocks. Used by one thread; `health` and `counters` may be read from others."""

    name: str
    channels: tuple[str, ...]

    def open(self) -> None:
        """Take hold of the device. Raises SourceError."""

    def read(self, timeout_s: float) -> list[Block]:
        """What has come since the last call, waiting at most `timeout_s` of the source's clock for something; [] when
        nothing has. Times are this host's monotonic clock. Raises SourceError when the device has gone."""

    def health(self) -> list[ChannelHealth]:
        """One entry a channel, judged now."""

    def counters(self) -> dict[str, int]:
        """Link counters by name (frames lost, bad checksums, restarts, ...)."""

    def close(self) -> None:
        """Let go of the device; harmless when it is not open."""
