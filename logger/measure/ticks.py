"""What slow judgements see of each whole second, and what they say."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

Severity = Literal["notice", "caution", "danger"]

RUNNING_KPA = 250.0
"""So far apart are the sides only while a compressor runs (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class ScaleView:
    """The scale as the weigher sees it: masses in g, flow in g/s, positive out of the container.

    gross_g is None while nothing has been weighed; steady says that the platform is at rest and undisturbed.
    """

    gross_g: float | None = None
    flow_g_per_s: float = 0.0
    present: bool = False
    drawn_g: float = 0.0
    delivered_g: float = 0.0
    steady: bool = False


@dataclass(frozen=True, slots=True)
class Tick:
    """One whole second of session time, ending at `t_s`.

    last: latest valid value of each channel that is not stale. mean: mean of this second's valid values; the
    scale's is the median of its frames.
    """

    t_s: float
    last: Mapping[str, float]
    mean: Mapping[str, float]
    stage: str = ""
    scale: ScaleView = ScaleView()
    compressor_on: bool | None = None


@dataclass(frozen=True, slots=True)
class Signal:
    """A condition that starts (`active`) or ends."""

    code: str
    severity: Severity
    active: bool
    message: str


def compressor_runs(tick: Tick) -> bool:
    """Compressor on by mark or by the sides' distance; a mark alone does not make an idle system run."""
    low, high = tick.mean.get("low_side"), tick.mean.get("high_side")
    if low is None or high is None:
        return bool(tick.compressor_on)
    return tick.compressor_on is not False and high - low > RUNNING_KPA
