"""Whether the container runs empty: its flow dies away by itself before the target is reached.

A valve is closed within a second; a container that runs out of liquid loses its flow over many.
"""

from __future__ import annotations

from logger.measure.ticks import Signal

TYPICAL_LEAST_G_PER_S = 0.4
TYPICAL_ALPHA = 0.02
FADED = 0.15
HALF = 0.5
FADES_OVER_S = 4.0
NEAR_NOMINAL_G = 25.0
STILL_WANTED_G = 5.0


class ContainerWatch:
    """Fed every frame of a container; `nominal_g` is what a full one is sold as holding, None where not known."""

    def __init__(self, nominal_g: float | None):
        self._nominal_g = nominal_g
        self._active = False
        self.forget()

    def forget(self) -> None:
        """Another container, or the platform is empty."""
        self._typical = 0.0
        self._half_s: float | None = None

    def update(self, t_s: float, flow_g_per_s: float, drawn_here_g: float, remaining_g: float | None) -> list[Signal]:
        """drawn_here_g: out of this container so far; remaining_g: to the target, None where there is none."""
        if flow_g_per_s > max(HALF * self._typical, TYPICAL_LEAST_G_PER_S):
            self._half_s = t_s
            self._typical += TYPICAL_ALPHA * (flow_g_per_s - self._typical) if self._typical else flow_g_per_s
            return self._say(False)
        if self._half_s is None or flow_g_per_s >= FADED * self._typical:
            return []
        empty = self._ran_out(t_s - self._half_s, drawn_here_g)
        self._half_s = None
        return self._say(empty and (remaining_g is None or remaining_g > STILL_WANTED_G))

    def lifted(self) -> list[Signal]:
        self.forget()
        return self._say(False)

    def _ran_out(self, faded_within_s: float, drawn_here_g: float) -> bool:
        """Judged once, when the flow has faded: by what a full one holds where that is known, else by how it faded."""
        if self._nominal_g is not None:
            return drawn_here_g >= self._nominal_g - NEAR_NOMINAL_G
        return faded_within_s > FADES_OVER_S and drawn_here_g > 0.0

    def _say(self, active: bool) -> list[Signal]:
        if active == self._active:
            return []
        self._active = active
        message = "The container is empty: close its valve, then connect the next one"
        return [Signal("container-empty", "caution", active, message)]
