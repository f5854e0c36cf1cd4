"""A pressure hold with dry nitrogen as the whole physics sees it: filled, shut, held, let down."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest

from logger.measure.leak_rate import NITROGEN_MOLAR_MASS_KG_MOL, NITROGEN_VISCOSITY_PA_S, nitrogen_grams_per_year
from logger.measure.physics import Physics, PhysicsSetup
from logger.measure.ticks import ScaleView, Tick

AIR_PA, FULL_PA, START_C = 101_325.0, 1.1e6, 25.0
LOW_SIDE_NOISE_PA = 450.0


class Nitrogen:
    """The stage second by second; `without` names channels that this cart does not have."""

    def __init__(self, without: tuple[str, ...] = (), seed: int = 1):
        self.physics = Physics(PhysicsSetup("R-134a", 2400.0, 70.0, 0.0))
        self.without, self.rng = without, np.random.default_rng(seed)
        self.t_s, self.signals = 0.0, []

    def second(self, pa: float, temp_c: float = START_C, stage: str = "pressure_hold") -> None:
        self.t_s += 1.0
        gauge_kpa = (pa - AIR_PA + self.rng.normal(0.0, LOW_SIDE_NOISE_PA)) / 1e3
        probe_c = round((temp_c + self.rng.normal(0.0, 0.03)) * 16.0) / 16.0
        values = {"low_side": gauge_kpa, "high_side": gauge_kpa + 2.0, "barometer": 101.325, "vacuum": 2700.0}
        values |= dict.fromkeys(("suction_temp", "liquid_temp", "ambient_temp"), probe_c)
        kept = {name: value for name, value in values.items() if name not in self.without}
        signals = self.physics.update(Tick(self.t_s, kept, kept, stage, ScaleView(), None))
        self.signals += [signal for signal in signals if signal.active]

    def whole(self, leak_pa_per_s: float = 0.0, seconds: int = 1800, warms_k: float = 0.0, runs_out_s: float = 0.0):
        """All of it; what was pressed in cools by four kelvin, `runs_out_s` is the time constant of a gross leak."""
        for share in np.linspace(0.0, 1.0, 60):
            self.second(AIR_PA + share * (FULL_PA - AIR_PA))
        for i in range(seconds):
            temp_c = START_C + warms_k * i / seconds
            left = math.exp(-i / runs_out_s) if runs_out_s else 1.0
            gas_pa = AIR_PA + (FULL_PA - AIR_PA) * left - leak_pa_per_s * i + 15e3 * math.exp(-i / 30.0)
            self.second(gas_pa * (temp_c + 273.15) / (START_C + 273.15), temp_c)
        for share in np.linspace(1.0, 0.0, 30):
            self.second(AIR_PA + share * 0.9 * (FULL_PA - AIR_PA))
        for _ in range(5):
            self.second(AIR_PA, stage="evacuation")
        return self.physics.findings()["pressure_hold"]


@pytest.mark.parametrize("warms_k", [0.0, 3.0, -3.0])
def test_a_tight_circuit_is_tight_while_the_workshop_warms_or_cools(warms_k):
    (hold,) = Nitrogen().whole(warms_k=warms_k)
    assert hold["verdict"] == "tight"
    low, high = hold["smallest_detectable_g_per_year"]
    assert 0.0 < low < high < 3.0 * low
    assert "smaller leak may be there" in hold["why"]


@pytest.mark.parametrize(("leak", "warms_k"), [(1.0, 0.0), (3.0, 2.0), (10.0, -2.0)])
def test_a_leak_is_told_with_its_rate_and_its_grams(leak, warms_k):
    (hold,) = Nitrogen().whole(leak, warms_k=warms_k)
    assert hold["verdict"] == "leak"
    assert hold["fall_pa_per_s"] == pytest.approx(leak, rel=0.2)
    assert hold["fall_ci95_pa_per_s"][0] < leak < hold["fall_ci95_pa_per_s"][1]
    assert hold["leak_mbar_l_per_s"] == pytest.approx(10.0 * hold["leak_pa_m3_per_s"])
    assert hold["leak_pa_m3_per_s"] == pytest.approx(leak * 2400e-6, rel=0.2)
    low, high = hold["leak_g_per_year"]
    assert low < high < 3.0 * low


@pytest.mark.parametrize("runs_out_s", [150.0, 600.0, 3000.0])
def test_a_leak_whose_pressure_runs_out_does_not_pass_for_one_that_levels_off(runs_out_s):
    (hold,) = Nitrogen().whole(seconds=900, runs_out_s=runs_out_s)
    assert hold["verdict"] == "leak"


def test_what_cannot_be_judged_says_why():
    (short,) = Nitrogen().whole(seconds=300)
    assert (short["verdict"], "minutes" in short["why"]) == ("inconclusive", True)
    (blind,) = Nitrogen(without=("suction_temp", "liquid_temp", "ambient_temp")).whole()
    assert (blind["verdict"], "temperature" in blind["why"]) == ("inconclusive", True)
    (deaf,) = Nitrogen(without=("low_side", "high_side")).whole(seconds=100)
    assert (deaf["verdict"], "transducer" in deaf["why"]) == ("inconclusive", True)
    empty = Nitrogen()
    for stage in ("pressure_hold",) * 60 + ("evacuation",):
        empty.second(AIR_PA, stage=stage)
    (none,) = empty.physics.findings()["pressure_hold"]
    assert "no test under pressure" in none["why"]
    json.dumps([short, blind, deaf, none], allow_nan=False)


def test_the_high_side_and_the_workshop_air_serve_where_there_is_nothing_else_but_see_less():
    (near,) = Nitrogen().whole()
    (far,) = Nitrogen(without=("low_side", "suction_temp", "liquid_temp")).whole()
    assert (far["side"], far["temperature_from"]) == ("high_side", ["ambient_temp"])
    assert far["smallest_detectable_pa_per_s"] > 2.0 * near["smallest_detectable_pa_per_s"]


def test_live_says_how_long_still():
    session = Nitrogen()
    session.second(AIR_PA, stage="recovery")
    assert session.physics.live()["pressure_hold"] is None
    session.second(AIR_PA)
    assert "shut the nitrogen" in session.physics.live()["pressure_hold"]["words"]
    for _ in range(400):
        session.second(FULL_PA)
    live = session.physics.live()["pressure_hold"]
    assert live["verdict"] == "inconclusive" and 0.0 < live["seconds_still"] < 600.0
    for _ in range(1400):
        session.second(FULL_PA)
    live = session.physics.live()["pressure_hold"]
    assert live["verdict"] == "tight" and live["seconds_still"] == 0.0


def test_nitrogen_raises_no_alarm_and_spends_the_vacuum_that_was_there():
    session = Nitrogen()
    for _ in range(30):
        session.second(1000.0, stage="evacuation")
    assert session.physics.evacuated()
    session.whole(seconds=700)
    assert session.signals == []
    assert not session.physics.evacuated()


def test_too_much_nitrogen_is_told_in_words_that_fit():
    session = Nitrogen()
    for _ in range(5):
        session.second(2.7e6)
    signals = session.signals
    assert [signal.code for signal in signals] == ["high-side-high"]
    assert signals[0].message.startswith("Shut the nitrogen")


def test_nitrogen_as_coolprop_has_it_and_its_ratio_to_the_refrigerant():
    """Poiseuille and Knudsen from CoolProp's values alone: R-134a at rest at 25 °C against nitrogen at 1100 kPa."""
    props = pytest.importorskip("CoolProp.CoolProp").PropsSI
    at = ("T", 298.15, "P", AIR_PA)
    assert pytest.approx(props("V", *at, "Nitrogen"), rel=2e-3) == NITROGEN_VISCOSITY_PA_S
    assert pytest.approx(props("M", "Nitrogen"), rel=1e-5) == NITROGEN_MOLAR_MASS_KG_MOL
    rest_pa, mass = props("P", "T", 298.15, "Q", 1, "R134a"), props("M", "R134a")
    per_year = 1e-3 * mass / (8.314462618 * 298.15) * 365.25 * 86400.0 * 1e3
    molecular = per_year * (rest_pa - AIR_PA) / (FULL_PA - AIR_PA) * math.sqrt(props("M", "Nitrogen") / mass)
    viscous = per_year * (rest_pa**2 - AIR_PA**2) / (FULL_PA**2 - AIR_PA**2)
    viscous *= props("V", *at, "Nitrogen") / props("V", *at, "R134a")
    expected = pytest.approx([molecular, viscous], rel=0.02)
    assert list(nitrogen_grams_per_year(1e-3, "R-134a", FULL_PA, AIR_PA)) == expected
