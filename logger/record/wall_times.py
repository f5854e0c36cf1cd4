"""Session times as wall times."""

from __future__ import annotations

import numpy as np


def wall_times(started_utc: str | None, t_s: np.ndarray) -> np.ndarray:
    """Wall times, datetime64[us] (n,), of session times (n,); not-a-time where the clock was not trusted."""
    start = np.datetime64(started_utc.removesuffix("Z") if started_utc else "NaT", "us")
    return start + np.rint(t_s * 1e6).astype("timedelta64[us]")
