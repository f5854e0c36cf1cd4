"""The plant's physics: nothing is lost, and its magnitudes agree with published figures."""

from __future__ import annotations

from dataclasses import replace

import pytest

from firmware_bridge.virtual.container import Container
from firmware_bridge.virtual.plant import Plant, standard_atmosphere_kpa
from firmware_bridge.virtual.refrigerant import R134A
from firmware_bridge.virtual.run import Run
from firmware_bridge.virtual.scenario import demo_scenario, random_fill
from firmware_bridge.virtual.setting import ContainerSpec, HoseSpec, Scenario, VacuumSpec, VehicleSpec
from firmware_bridge.virtual.vacuum import Vacuum, water_psat_pa

CYLINDER = ContainerSpec(tare_g=5000.0, volume_ml=13500.0, content_g=8000.0, full_flow_g_per_s=2.5)


def _played(scenario: Scenario) -> Run:
    run = Run(scenario)
    while not run.finished:
        run.step()
    return run


@pytest.mark.parametrize(
    "scenario", [demo_scenario(), *(random_fill(7, kind) for kind in ("undisturbed", "fast_liquid", "three_cans"))]
)
def test_no_gram_is_made_or_lost(scenario):
    run = _played(scenario)
    plant, containers = run.plant, [stay.container for stay in run.technician.stays]
    before = scenario.vehicle.content_g + sum(c.spec.content_g for c in containers)
    after = plant.circuit.mass_g + sum(c.mass_g for c in containers) + plant.hose.mass_g
    assert after + plant.vented_g + plant.pumped_g == pytest.approx(before, abs=1e-6)
    assert plant.drawn_g == pytest.approx(plant.vented_g + plant.entered_g + plant.hose.mass_g, abs=1e-6)


# ISO 2533 (standard atmosphere), as tabulated to 0.01 kPa
@pytest.mark.parametrize(
    ("altitude_m", "kpa"), [(0, 101.325), (500, 95.46), (1000, 89.88), (1609, 83.44), (2000, 79.50)]
)
def test_barometer_follows_the_standard_atmosphere(altitude_m, kpa):
    assert standard_atmosphere_kpa(altitude_m) == pytest.approx(kpa, abs=0.01)


# IAPWS-IF97 (liquid) and IAPWS R14-08 (ice)
@pytest.mark.parametrize(
    ("temp_c", "pa"),
    [(-20, 103.24), (-10, 259.87), (0.01, 611.66), (10, 1228.2), (20, 2339.2), (30, 4246.7), (40, 7384.4)],
)
def test_water_saturation_is_within_half_a_percent(temp_c, pa):
    assert water_psat_pa(temp_c) == pytest.approx(pa, rel=0.005)


# Energy balance with CoolProp 8.0 from 25 °C, 5 and 10 % drawn as vapour without heat from outside: 18.8 and 12 °C
@pytest.mark.parametrize(("share", "temp_c"), [(0.05, 18.8), (0.10, 12.0)])
def test_drawing_vapour_chills_what_is_left(share, temp_c):
    container = Container(CYLINDER, R134A, 25.0)
    for _ in range(100):
        container.give(share * CYLINDER.content_g / 100.0)
    assert container.temp_c == pytest.approx(temp_c, abs=1.0)


def test_heat_comes_back_through_the_shell():
    container = Container(CYLINDER, R134A, 25.0)
    container.give(400.0)
    chilled_c = container.temp_c
    for _ in range(2000):
        container.step(1.0, 25.0)
    assert chilled_c < container.temp_c < 25.0
    assert container.shell_c == pytest.approx(container.temp_c, abs=1.0)


def test_a_container_that_holds_only_its_heel_has_no_liquid():
    can = ContainerSpec(tare_g=180.0, volume_ml=360.0, content_g=11.0)
    assert not Container(can, R134A, 25.0).has_liquid()
    assert Container(replace(can, content_g=12.5), R134A, 25.0).has_liquid()


def _charging(content_g: float = 0.0, **container: float | str) -> Plant:
    plant = Plant(Scenario(seed=1, vehicle=VehicleSpec(content_g=content_g)))
    plant.place(replace(CYLINDER, **container))
    plant.hose_connected, plant.valve_target = True, 1.0
    return plant


def _step(plant: Plant, seconds: float) -> None:
    for _ in range(round(seconds / 0.05)):
        plant.step(0.05)


def test_flow_stops_by_itself_when_pressures_are_equal_and_goes_on_with_the_compressor():
    plant = _charging()
    _step(plant, 400.0)
    assert plant.flow_g_per_s < 0.3
    plant.circuit.compressor_on = True
    _step(plant, 60.0)
    assert plant.flow_g_per_s > 1.0


def test_liquid_flows_many_times_faster_than_vapour_through_the_same_valve():
    vapour, liquid = _charging(), _charging(phase="liquid", full_flow_g_per_s=2.5 * 6.1)
    for plant in (vapour, liquid):
        plant.circuit.compressor_on = True
        _step(plant, 15.0)
    assert liquid.drawn_g > 4.0 * vapour.drawn_g


def test_a_container_gains_when_the_hose_stands_at_a_higher_pressure():
    plant = _charging(content_g=600.0)
    plant.container.temp_c = plant.container.shell_c = 5.0
    plant.container.step(0.05, 5.0)
    _step(plant, 10.0)
    assert plant.drawn_g < -1.0


def test_more_charge_means_a_higher_high_side_and_less_a_warmer_vent():
    ends = {}
    for content_g in (300.0, 600.0, 780.0):
        plant = Plant(Scenario(seed=1, vehicle=VehicleSpec(charge_g=600.0, content_g=content_g)))
        plant.circuit.compressor_on = True
        _step(plant, 300.0)
        ends[content_g] = plant.state()
    assert ends[300.0].high_kpa < ends[600.0].high_kpa < ends[780.0].high_kpa
    assert ends[300.0].low_kpa < ends[600.0].low_kpa
    assert ends[300.0].vent_c > ends[600.0].vent_c


def test_hose_pulls_only_while_its_valve_is_open():
    plant = Plant(Scenario(seed=1, hose=HoseSpec(force_g=2.5)))
    plant.place(CYLINDER)
    plant.hose_connected = True
    assert plant.state().pull_g == 0.0
    plant.valve_target = 1.0
    _step(plant, 5.0)
    assert plant.state().pull_g == pytest.approx(2.5, abs=0.01)
    plant.valve_target = 0.0
    _step(plant, 5.0)
    assert plant.state().pull_g == pytest.approx(0.0, abs=0.01)


def _evacuated(spec: VacuumSpec, temp_c: float, pump_s: float, hold_s: float) -> tuple[Vacuum, float, float]:
    vacuum = Vacuum(spec, 2500.0, 101325.0, temp_c)
    vacuum.pump_on = True
    for _ in range(round(pump_s / 0.1)):
        vacuum.step(0.1, temp_c, 101325.0)
    vacuum.pump_on = False
    began_pa = vacuum.p_pa
    for _ in range(round(hold_s / 0.1)):
        vacuum.step(0.1, temp_c, 101325.0)
    return vacuum, began_pa, vacuum.p_pa


def test_a_leak_rises_in_proportion_to_time():
    _, began_pa, ended_pa = _evacuated(VacuumSpec(leak_pa_per_s=0.2, outgassing_pa=0.0), 25.0, 300.0, 1000.0)
    assert ended_pa - began_pa == pytest.approx(200.0, rel=0.01)


def test_bound_water_levels_off_below_its_saturation_pressure():
    wet = VacuumSpec(bound_activity=0.5, bound_tau_s=200.0, outgassing_pa=0.0)
    asymptote_pa = 0.5 * water_psat_pa(15.0)
    _, began_pa, half_pa = _evacuated(wet, 15.0, 300.0, 1200.0)
    _, _, ended_pa = _evacuated(wet, 15.0, 300.0, 2400.0)
    assert began_pa < 0.05 * asymptote_pa
    assert half_pa == pytest.approx(asymptote_pa, rel=0.02)
    assert ended_pa == pytest.approx(half_pa, rel=0.01)


def test_free_water_holds_the_pump_at_a_plateau_until_it_is_gone():
    vacuum, _, _ = _evacuated(VacuumSpec(free_water_mg=1500.0), 15.0, 60.0, 0.0)
    assert 0.3 * water_psat_pa(15.0) < vacuum.p_pa < water_psat_pa(15.0)
    dried, _, _ = _evacuated(VacuumSpec(free_water_mg=1500.0), 15.0, 900.0, 0.0)
    assert dried.free_water_mg == 0.0
    assert dried.p_pa < 20.0


# R-134a, 25-27 °C, right charge: US Army TM 5-3805-291-23-1 and two makers' service literature (a spread, not a limit)
def test_running_pressures_and_vent_lie_in_the_spread_of_service_literature():
    plant = Plant(Scenario(seed=1, vehicle=VehicleSpec(charge_g=600.0, content_g=600.0)))
    plant.circuit.compressor_on = True
    _step(plant, 600.0)
    state, psi_kpa = plant.state(), 6.894757
    assert 140.0 < state.high_kpa / psi_kpa < 213.0
    assert 10.0 < state.low_kpa / psi_kpa < 31.0
    assert 6.0 < state.vent_c < 13.0
    assert state.liquid_c < R134A.tsat_c(state.high_kpa + state.barometer_kpa)
    assert state.suction_c > R134A.tsat_c(state.low_kpa + state.barometer_kpa)


# at rest with liquid in it a circuit stands at saturation: 665.4 kPa absolute at 25 °C (CoolProp 8.0)
def test_a_charged_circuit_at_rest_stands_at_saturation_on_both_sides():
    plant = Plant(Scenario(seed=1, vehicle=VehicleSpec(content_g=500.0)))
    _step(plant, 10.0)
    state = plant.state()
    assert state.low_kpa == pytest.approx(665.4 - 101.325, rel=0.01)
    assert state.high_kpa == pytest.approx(state.low_kpa, abs=0.5)
