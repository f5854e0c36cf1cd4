"""What goes wrong in the vehicle, the hoses or the container of a virtual session; invented, and larger than life.

Each is a knob of the plant turned at its time. `began` says when there was something to be alarmed about, which for a
slow one is later than its cause.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from firmware_bridge.virtual.plant import Plant
from firmware_bridge.virtual.setting import Mishap

CONTAINER_LIMIT_C = 52.0
HIGH_SIDE_LIMIT_KPA = 2413.0
FLOWS_G_PER_S = 0.3
ABOVE_ATMOSPHERE_KPA = 35.0


@dataclass
class Mishaps:
    """The scenario's mishaps; `apply` before each step of the plant."""

    plant: Plant
    planned: tuple[Mishap, ...]
    began: dict[str, float] = field(default_factory=dict)

    def apply(self) -> None:
        for mishap in self.planned:
            on = self.plant.t_s >= mishap.start_s
            if on:
                getattr(self, f"_{mishap.kind}")(mishap)
            if on and mishap.kind not in self.began and self._alarming(mishap.kind):
                self.began[mishap.kind] = self.plant.t_s

    def _hose_on_high_side(self, mishap: Mishap) -> None:
        self.plant.hose_on_high_side = True

    def _heated_container(self, mishap: Mishap) -> None:
        if self.plant.container:
            self.plant.container.heated_to_c = mishap.size

    def _blocked_airflow(self, mishap: Mishap) -> None:
        self.plant.circuit.blocked_k = mishap.size

    def _turned_over(self, mishap: Mishap) -> None:
        if self.plant.container:
            self.plant.container.turned_over = True
        self.plant.circuit.flooded_by_g_per_s = max(self.plant.flow_g_per_s, 0.0)

    def _opened_to_air(self, mishap: Mishap) -> None:
        self.plant.vacuum.opened_pa_per_s = mishap.size

    def _pump_on_charge(self, mishap: Mishap) -> None:
        """Nothing to turn: the technician pumps though nothing was recovered."""

    def _alarming(self, kind: str) -> bool:
        plant, state = self.plant, self.plant.state()
        return {
            "hose_on_high_side": plant.flow_g_per_s < -FLOWS_G_PER_S,
            "heated_container": state.container_c > CONTAINER_LIMIT_C,
            "blocked_airflow": state.high_kpa > HIGH_SIDE_LIMIT_KPA,
            "turned_over": plant.circuit.running(plant.ambient_c) and plant.flow_g_per_s > FLOWS_G_PER_S,
            "opened_to_air": True,
            "pump_on_charge": plant.vacuum.pump_on and state.low_kpa > ABOVE_ATMOSPHERE_KPA,
        }[kind]
