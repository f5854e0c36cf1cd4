"""One scenario being played: plant, technician and platform stepped together, with a trace of what was."""

from __future__ import annotations

from firmware_bridge.virtual.mishaps import Mishaps
from firmware_bridge.virtual.plant import Plant, State
from firmware_bridge.virtual.scale_platform import Platform
from firmware_bridge.virtual.setting import Scenario
from firmware_bridge.virtual.technician import Technician

COLUMNS = {name: index for index, name in enumerate((*State._fields, "load_g", "kept_g"))}
"""Where each quantity stands in a row of `Run.trace`."""


class Run:
    """Steps a scenario until the technician is done or its time is up."""

    def __init__(self, scenario: Scenario):
        self.scenario = scenario
        self.plant = Plant(scenario)
        self.technician = Technician(scenario, self.plant)
        self.platform = Platform(scenario)
        self.mishaps = Mishaps(self.plant, scenario.mishaps)
        self.lowest_pa = float("inf")
        self.trace: list[tuple[float, ...]] = []
        self._record()

    @property
    def finished(self) -> bool:
        return self.technician.done or self.plant.t_s >= self.scenario.max_duration_s

    def step(self) -> None:
        """One step of `scenario.step_s`: first the person, then the physics."""
        self.technician.act()
        self.mishaps.apply()
        self.plant.step(self.scenario.step_s)
        self._record()

    def _record(self) -> None:
        plant = self.plant
        state = plant.state()
        kept_g = plant.kept_in_hose_g()
        standing_g = state.gross_g + state.pull_g
        delivered_g = state.drawn_g - state.vented_g - kept_g
        load_g = self.platform.load_g(self.scenario.step_s, state.t_s, standing_g, delivered_g, state.flow_g_per_s)
        self.lowest_pa = min(self.lowest_pa, state.vacuum_pa)
        self.trace.append((*state, load_g, kept_g))
