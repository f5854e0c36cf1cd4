"""Saturation, densities and water against published values and second libraries."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from reference import build_tables, published

from logger.measure import water
from logger.measure.refrigerants import REFRIGERANTS, UnknownRefrigerant, refrigerant
from logger.measure.saturation import saturation

NUMBERS = tuple(REFRIGERANTS)
CASES = [(number, temp_c, *row) for number, rows in published.SATURATION.items() for temp_c, row in rows.items()]


@pytest.mark.parametrize(("number", "temp_c", "kpa", "liquid", "vapour"), CASES)
def test_published_saturation(number, temp_c, kpa, liquid, vapour):
    curve = saturation(number)
    assert curve.pressure_pa(temp_c) == pytest.approx(kpa * 1e3, rel=1e-3)
    assert curve.temperature_c(kpa * 1e3) == pytest.approx(temp_c, abs=0.02)
    assert curve.liquid_density(temp_c) == pytest.approx(liquid, rel=2e-3)
    assert curve.vapour_density(temp_c) == pytest.approx(vapour, rel=2e-3)


def test_old_textbook_values_of_r12_within_their_age():
    for temp_c, kpa in published.OLD_R12_KPA.items():
        assert saturation("R-12").pressure_pa(temp_c) == pytest.approx(kpa * 1e3, rel=3e-3)


@pytest.mark.parametrize("number", NUMBERS)
def test_table_against_the_equation_of_state(number):
    """0.02 K and 0.05 % over -40…90 °C, as far as there is saturation."""
    props = pytest.importorskip("CoolProp.CoolProp").PropsSI
    curve = saturation(number)
    temp_c = np.linspace(-40.0, min(90.0, curve.highest_c - 0.1), 131)
    exact_pa = props("P", "T", temp_c + 273.15, "Q", 0, curve.refrigerant.fluid)
    assert np.max(np.abs(curve.pressures_pa(temp_c) / exact_pa - 1.0)) < 5e-4
    assert np.max(np.abs(curve.temperatures_c(exact_pa) - temp_c)) < 0.02


@pytest.mark.parametrize("number", [n for n in NUMBERS if n != "R-744"])
def test_superheated_vapour_is_good_enough_for_a_hose(number):
    props = pytest.importorskip("CoolProp.CoolProp").PropsSI
    curve = saturation(number)
    for temp_c in (0.0, 20.0, 40.0, 60.0):
        for share in (0.05, 0.3, 0.6, 0.9):
            pressure_pa = share * curve.pressure_pa(temp_c)
            exact = props("D", "T", temp_c + 273.15, "P", pressure_pa, curve.refrigerant.fluid)
            assert curve.vapour_density(temp_c, pressure_pa) == pytest.approx(exact, rel=0.015)


def test_stored_tables_are_what_the_script_makes():
    pytest.importorskip("CoolProp")
    with np.load(build_tables.TABLE) as stored:
        made = build_tables.tables()
        assert set(stored.files) == set(made)
        for number, rows in made.items():
            assert rows.shape == (4, build_tables.POINTS)
            assert np.allclose(stored[number], rows, rtol=2e-6), number


@pytest.mark.parametrize("number", NUMBERS)
def test_entries_agree_with_the_library(number):
    props = pytest.importorskip("CoolProp.CoolProp").PropsSI
    entry = refrigerant(number)
    assert entry.molar_mass_kg_mol == pytest.approx(props("M", entry.fluid), rel=1e-5)
    assert entry.critical_pa == pytest.approx(props("Pcrit", entry.fluid), rel=1e-3)
    assert entry.critical_c == pytest.approx(props("Tcrit", entry.fluid) - 273.15, abs=0.01)
    assert entry.gas_viscosity_pa_s == pytest.approx(props("V", "T", 298.15, "P", 2e4, entry.fluid), rel=0.01)


@given(number=st.sampled_from(NUMBERS), share=st.floats(0.001, 0.999))
def test_there_and_back(number, share):
    curve = saturation(number)
    temp_c = curve.lowest_c + share * (curve.highest_c - curve.lowest_c)
    assert curve.temperature_c(curve.pressure_pa(temp_c)) == pytest.approx(temp_c, abs=1e-6)


@given(number=st.sampled_from(NUMBERS), temps=st.lists(st.floats(-100.0, 150.0), min_size=1, max_size=8))
def test_arrays_say_what_scalars_say(number, temps):
    curve = saturation(number)
    for one, many in zip(map(curve.pressure_pa, temps), curve.pressures_pa(np.array(temps)), strict=True):
        assert (one is None and math.isnan(many)) or many == pytest.approx(one, rel=1e-9)


def test_outside_the_curve_it_says_why():
    curve = saturation("R-744")
    assert curve.pressure_pa(35.0) is None
    assert "critical" in curve.why_not(temp_c=35.0)
    assert curve.temperature_c(9e6) is None
    assert "critical" in curve.why_not(pressure_pa=9e6)
    assert saturation("R-134a").temperature_c(10.0) is None
    assert "below" in saturation("R-134a").why_not(pressure_pa=10.0)
    assert curve.why_not(pressure_pa=5e6, temp_c=20.0) is None


def test_superheat_and_subcooling():
    """R-134a: saturation at 300 kPa is 0.67 °C, at 1500 kPa 55.23 °C (CoolProp 8.0.0)."""
    curve = saturation("R-134a")
    assert curve.superheat_k(7.67, 300e3) == pytest.approx(7.0, abs=0.03)
    assert curve.subcooling_k(50.23, 1500e3) == pytest.approx(5.0, abs=0.03)


def test_an_unknown_refrigerant_is_named_with_those_there_are():
    with pytest.raises(UnknownRefrigerant, match="R-999.*R-134a"):
        saturation("R-999")


@pytest.mark.parametrize(("temp_c", "pa"), published.WATER_PA.items())
def test_water_over_liquid_and_ice(temp_c, pa):
    assert water.saturation_pa(temp_c) == pytest.approx(pa, rel=3e-4)
    assert water.saturation_c(pa) == pytest.approx(temp_c, abs=0.01)


def test_water_against_the_reference_library():
    iapws = pytest.importorskip("iapws")
    for temp_c in (0.5, 12.0, 33.0, 80.0):
        exact = iapws.iapws97._PSat_T(temp_c + 273.15) * 1e6
        assert water.saturation_pa(temp_c) == pytest.approx(exact, rel=3e-4)
    assert water.saturation_pa(-24.48) / 0.1333224 == pytest.approx(500.0, rel=5e-3)


@pytest.mark.parametrize(("number", "cas"), [("R-134a", "811-97-2"), ("R-12", "75-71-8"), ("R-152a", "75-37-6")])
def test_a_second_library_agrees(number, cas):
    """Extended Antoine equations of Poling et al. as `chemicals` holds them, independent of CoolProp: within 0.4 %."""
    chemicals = pytest.importorskip("chemicals")
    row = chemicals.vapor_pressure.Psat_data_AntoineExtended.loc[cas]
    constants = [row[name] for name in ("Tc", "to", "A", "B", "C", "n", "E", "F")]
    for temp_c in (0.0, 25.0, 50.0):
        other_pa = chemicals.TRC_Antoine_extended(temp_c + 273.15, *constants)
        assert saturation(number).pressure_pa(temp_c) == pytest.approx(other_pa, rel=4e-3)
