"""What no sensor sees of a played scenario: the same keys and meanings as a recording's truth.json."""

from __future__ import annotations

import numpy as np

from firmware_bridge.virtual.refrigerant import GAS_CONSTANT, ZERO_C_K
from firmware_bridge.virtual.run import COLUMNS, Run
from firmware_bridge.virtual.technician import Stay
from firmware_bridge.virtual.vacuum import water_psat_pa

SECONDS_PER_YEAR = 365.25 * 86400.0
_FINE_WITHIN_S = 30.0
_QUIET_OUTGASSING_PA = 8.0


def truth_of(run: Run) -> dict:
    """The truth so far, as plain JSON types."""
    scenario, technician = run.scenario, run.technician
    truth = {
        "duration_s": run.plant.t_s,
        "refrigerant": scenario.refrigerant,
        "marks": scenario.technician.marks,
        "scale_sigma_g": run.platform.noise_g,
        "scale_drift_g_per_h": scenario.sensors.drift_g_per_h,
        "evacuation": {"water_plateau": scenario.vacuum.free_water_mg > 0.0, "lowest_pa": run.lowest_pa},
        "vacuum_hold": [_hold(run, *span) for span in technician.hold_t_s],
        "faults": _faults(run),
        "containers": [_stay(run, stay) for stay in technician.stays],
    }
    if run.plant.recovered_g:
        truth["recovered_g"] = run.plant.recovered_g
    if technician.charge_began_t_s is not None:
        truth["charge"] = _charge(run)
    return truth


def _faults(run: Run) -> list[dict]:
    happened = [
        {"kind": d.kind, "from_t_s": start_s, "to_t_s": start_s + d.duration_s, "peak": d.size_g}
        for d, start_s in run.platform.befallen
        if start_s < run.plant.t_s
    ]
    purges = [{"kind": "purge", "from_t_s": began, "to_t_s": ended} for began, ended in run.technician.purge_t_s]
    mishaps = [{"kind": kind, "from_t_s": began} for kind, began in run.mishaps.began.items()]
    return sorted(happened + purges + mishaps, key=lambda fault: fault["from_t_s"])


def _stay(run: Run, stay: Stay) -> dict:
    content_g = stay.container.mass_g
    gross_off_g = stay.container.gross_g if stay.gross_off_g is None else stay.gross_off_g
    return {
        "on_t_s": stay.on_t_s,
        "off_t_s": stay.off_t_s,
        "gross_on_g": stay.gross_on_g,
        "gross_off_g": gross_off_g,
        "tare_g": stay.container.spec.tare_g,
        "start_g": stay.container.spec.content_g,
        "force_g": 0.0 if stay.recovery else run.scenario.hose.force_g,
        "left_g": content_g,
        "drawn_g": stay.gross_on_g - gross_off_g,
    }


def _hold(run: Run, began_s: float, ended_s: float) -> dict:
    """A hold's cause and size; the leak in mass is its throughput taken as refrigerant, pV = mRT/M."""
    scenario, fluid = run.scenario, run.plant.fluid
    vacuum = scenario.vacuum
    moist = vacuum.bound_activity > 0.0
    cause = "moisture" if moist else "leak" if vacuum.leak_pa_per_s else "tight"
    quiet = cause == "tight" and vacuum.outgassing_pa < _QUIET_OUTGASSING_PA
    kelvin = scenario.air.temp_c + ZERO_C_K
    g_per_s = vacuum.leak_pa_per_s * run.plant.vacuum.litres * 1e-3 * fluid.molar_g / (GAS_CONSTANT * kelvin)
    start_pa, end_pa = (_at(run, "vacuum_pa", t_s) for t_s in (began_s, ended_s))
    return {
        "start_t_s": began_s,
        "end_t_s": ended_s,
        "expect": cause,
        "accept": [cause] if cause == "moisture" or quiet else [cause, "inconclusive"],
        "leak_pa_per_s": vacuum.leak_pa_per_s,
        "leak_g_per_year_same_throughput": g_per_s * SECONDS_PER_YEAR,
        "moisture": moist,
        "moisture_asymptote_pa": vacuum.bound_activity * water_psat_pa(scenario.air.temp_c),
        "start_pa": start_pa,
        "rise_pa": end_pa - start_pa,
    }


def _at(run: Run, quantity: str, t_s: float) -> float:
    index = min(round(t_s / run.scenario.step_s), len(run.trace) - 1)
    return run.trace[index][COLUMNS[quantity]]


def _charge(run: Run) -> dict:
    scenario, technician, plant = run.scenario, run.technician, run.plant
    residue_g = plant.kept_in_hose_g()
    delivered_g = plant.drawn_g - plant.vented_g - residue_g
    spans = technician.valve_open_t_s
    low_g, high_g = scenario.placard_g
    open_s = sum(until - since for since, until in spans)
    return {
        "target_g": scenario.target_g,
        "placard_low_g": low_g,
        "placard_high_g": high_g,
        "started_t_s": technician.charge_began_t_s,
        "close_lag_s": scenario.technician.close_lag_s,
        "flow_ended_t_s": spans[-1][1] if spans else None,
        "valve_open_t_s": spans,
        "mean_flow_g_per_s": plant.drawn_g / open_s if open_s else 0.0,
        "delivered_g": delivered_g,
        "drawn_g": plant.drawn_g,
        "vented_g": plant.vented_g,
        "hose_residue_g": residue_g,
        "hose_force_g": scenario.hose.force_g,
        "within_placard": low_g <= delivered_g <= high_g,
        **_curves(run, residue_g),
    }


def _curves(run: Run, residue_g: float) -> dict:
    """Delivered and entered mass against time: each second, and every step near the target."""
    trace = np.array(run.trace)
    t_s = trace[:, COLUMNS["t_s"]]
    delivered = trace[:, COLUMNS["drawn_g"]] - trace[:, COLUMNS["vented_g"]] - residue_g
    crossed = int(np.argmax(delivered >= run.scenario.target_g))
    crossed_s = float(t_s[crossed]) if delivered[crossed] >= run.scenario.target_g else None
    since = t_s >= run.technician.charge_began_t_s - 5.0
    each = max(round(1.0 / run.scenario.step_s), 1)
    near = np.abs(t_s - crossed_s) <= _FINE_WITHIN_S if crossed_s is not None else np.zeros(len(t_s), bool)
    entered = trace[:, COLUMNS["entered_g"]]
    return {
        "target_crossed_t_s": crossed_s,
        "delivered": _series(t_s[since][::each], delivered[since][::each]),
        "delivered_fine": _series(t_s[near], delivered[near]),
        "entered": _series(t_s[since][::each], entered[since][::each]),
    }


def _series(t_s: np.ndarray, mass_g: np.ndarray) -> dict:
    return {"t_s": np.round(t_s, 4).tolist(), "g": np.round(mass_g, 4).tolist()}
