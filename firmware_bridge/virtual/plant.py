"""The whole virtual cart and vehicle, stepped through time: what sensors would see, and what they do not."""

from __future__ import annotations

from typing import NamedTuple

from firmware_bridge.virtual.circuit import Circuit
from firmware_bridge.virtual.container import Container
from firmware_bridge.virtual.hose import Hose, flow_area, throttle_flow
from firmware_bridge.virtual.refrigerant import REFRIGERANTS
from firmware_bridge.virtual.setting import ContainerSpec, Scenario
from firmware_bridge.virtual.vacuum import Vacuum

VALVE_TRAVEL_S = 0.3
_FORCE_TAU_S = 0.4
_PROBE_TAU_S = 12.0
_RECOVERY_FULL_FLOW_KPA = 250.0
_RECOVERED_DOWN_TO_KPA = 55.0


class State(NamedTuple):
    """One moment. Pressures are gauge except `vacuum_pa`; `gross_g` is what stands on the platform, `pull_g` the hose's
    pull on it; `drawn_g`, `entered_g` and `vented_g` count since the beginning."""

    t_s: float
    gross_g: float
    pull_g: float
    engine: float
    low_kpa: float
    high_kpa: float
    vacuum_pa: float
    ambient_c: float
    vent_c: float
    container_c: float
    suction_c: float
    liquid_c: float
    barometer_kpa: float
    humidity_pct: float
    drawn_g: float
    entered_g: float
    vented_g: float
    flow_g_per_s: float


def standard_atmosphere_kpa(altitude_m: float) -> float:
    """Pressure of the standard atmosphere in the troposphere (ISO 2533)."""
    return 101.325 * (1.0 - 6.5e-3 * altitude_m / 288.15) ** 5.25588


class Plant:
    """Physics of one scenario. The technician turns its knobs: `valve_target`, `purging`, `recovering_g_per_s`,
    `hose_connected`, `circuit.compressor_on`, `vacuum.pump_on`, `place`, `take_off`."""

    def __init__(self, scenario: Scenario):
        self.scenario = scenario
        self.fluid = REFRIGERANTS[scenario.refrigerant]
        air = scenario.air
        self.t_s = 0.0
        self.ambient_c = air.temp_c
        self.barometer_kpa = standard_atmosphere_kpa(air.altitude_m)
        self.circuit = Circuit(scenario.vehicle, self.fluid, air.temp_c)
        self.hose = Hose(scenario.hose.volume_ml, self.fluid)
        self.vacuum = Vacuum(scenario.vacuum, scenario.vehicle.volume_ml, scenario.vehicle.air_pa, air.temp_c)
        self.container: Container | None = None
        self.valve = self.valve_target = 0.0
        self.purging = self.hose_connected = self.hose_on_high_side = False
        self.recovering_g_per_s = 0.0
        self.flow_g_per_s = 0.0
        self.drawn_g = self.entered_g = self.vented_g = self.recovered_g = self.pumped_g = 0.0
        self._area = 0.0
        self._pull_share = 0.0
        self._probe_c = air.temp_c

    # --- knobs

    def place(self, spec: ContainerSpec) -> Container:
        """Put a fresh container on the platform and connect it."""
        self.container = Container(spec, self.fluid, self.ambient_c)
        self._area = flow_area(spec.full_flow_g_per_s, spec.phase == "liquid", self.fluid)
        return self.container

    def take_off(self) -> None:
        self.container = None
        self.valve = self.valve_target = 0.0

    # --- time

    def step(self, dt_s: float) -> None:
        self.t_s = round(self.t_s + dt_s, 9)
        self.ambient_c = self.scenario.air.temp_c + self.scenario.air.drift_k_per_h * self.t_s / 3600.0
        self._turn_valve(dt_s)
        self._flow(dt_s)
        self._recover(dt_s)
        self._evacuate(dt_s)
        self.circuit.step(dt_s, self.ambient_c)
        if self.container:
            self.container.step(dt_s, self.ambient_c)
        shell_c = self.container.shell_c if self.container else self.ambient_c
        self._probe_c += (shell_c - self._probe_c) * min(dt_s / _PROBE_TAU_S, 1.0)

    def state(self) -> State:
        foreign_kpa = self.vacuum.p_pa / 1000.0
        circuit, air = self.circuit, self.barometer_kpa
        return State(
            self.t_s,
            self.container.gross_g if self.container else 0.0,
            self._pull_share * self.scenario.hose.force_g,
            1.0 if circuit.compressor_on else 0.0,
            circuit.low_kpa + foreign_kpa - air,
            circuit.high_kpa + foreign_kpa - air,
            circuit.low_kpa * 1000.0 + self.vacuum.p_pa,
            self.ambient_c,
            circuit.vent_c,
            self._probe_c,
            circuit.suction_c,
            circuit.liquid_c,
            air,
            self.scenario.air.humidity_pct,
            self.drawn_g,
            self.entered_g,
            self.vented_g,
            self.flow_g_per_s,
        )

    def kept_in_hose_g(self) -> float:
        """What the hose keeps if the valve is closed now and the rest has run into the vehicle."""
        if not self.hose_connected:
            return self.hose.mass_g
        return self.hose.kept_g(self._port_kpa(), self.ambient_c)

    def delivered_g(self) -> float:
        """What the vehicle ends up with if the valve is closed now."""
        return self.drawn_g - self.vented_g - self.kept_in_hose_g()

    # --- parts of a step

    def _turn_valve(self, dt_s: float) -> None:
        travel = dt_s / VALVE_TRAVEL_S
        self.valve += min(max(self.valve_target - self.valve, -travel), travel)
        open_now = 1.0 if self.valve > 0.0 else 0.0
        self._pull_share += (open_now - self._pull_share) * min(dt_s / _FORCE_TAU_S, 1.0)

    def _flow(self, dt_s: float) -> None:
        """From the container through its valve into the hose, from there into the vehicle or, purging, the air."""
        self.flow_g_per_s = self._valve_flow() if self.valve > 0.0 and self.container else 0.0
        liquid = False
        if self.flow_g_per_s:
            liquid = self.container.draws_liquid()
            self.container.give(self.flow_g_per_s * dt_s)
            self.drawn_g += self.flow_g_per_s * dt_s
        if self.purging:
            self._vent(dt_s)
        elif self.hose_connected:
            out_g = self.hose.step(dt_s, self.flow_g_per_s, self._port_kpa(), self.ambient_c, liquid)
            self.circuit.mass_g += out_g
            self.entered_g += out_g
        else:
            self.hose.mass_g += self.flow_g_per_s * dt_s

    def _valve_flow(self) -> float:
        """Flow out of the container, g/s; negative when the hose's end stands higher than the container."""
        inside, beyond = self.container.p_kpa, self._beyond_kpa()
        if inside >= beyond:
            return self._area * self.valve * throttle_flow(inside, beyond, self.container.outlet_density())
        density = self.fluid.vapour_density(beyond, self.ambient_c)
        return -self._area * self.valve * throttle_flow(beyond, inside, density)

    def _beyond_kpa(self) -> float:
        if self.purging:
            return self.barometer_kpa
        if self.hose_connected:
            return self._port_kpa() + self.vacuum.p_pa / 1000.0
        return self.fluid.vapour_pressure_kpa(self.hose.mass_g / self.hose.litres, self.ambient_c)

    def _port_kpa(self) -> float:
        return self.circuit.high_kpa if self.hose_on_high_side else self.circuit.low_kpa

    def _vent(self, dt_s: float) -> None:
        out_g = self.hose.step(dt_s, self.flow_g_per_s, self.barometer_kpa, self.ambient_c, False)
        if out_g < 0.0:
            self.hose.mass_g += out_g
        else:
            self.vented_g += out_g

    def _recover(self, dt_s: float) -> None:
        """The recovery unit beside the cart moves the vehicle's content into the container."""
        p_kpa = self.circuit.static_kpa(self.ambient_c)
        if not self.recovering_g_per_s or not self.container or p_kpa < _RECOVERED_DOWN_TO_KPA:
            return
        rate = self.recovering_g_per_s * min(1.0, p_kpa / _RECOVERY_FULL_FLOW_KPA)
        mass_g = min(rate * dt_s, self.circuit.mass_g)
        self.circuit.mass_g -= mass_g
        self.container.give(-mass_g)
        self.recovered_g += mass_g

    def recovery_done(self) -> bool:
        return self.circuit.static_kpa(self.ambient_c) < _RECOVERED_DOWN_TO_KPA

    def _evacuate(self, dt_s: float) -> None:
        if self.circuit.mass_g > 20.0 and not self.vacuum.pump_on:
            return
        self.vacuum.step(dt_s, self.ambient_c, self.barometer_kpa * 1000.0)
        if self.vacuum.pump_on:
            left = self.circuit.mass_g * self.vacuum.pump_share(dt_s)
            self.pumped_g += self.circuit.mass_g - left
            self.circuit.mass_g = left
