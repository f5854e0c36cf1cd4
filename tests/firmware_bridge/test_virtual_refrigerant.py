"""The plant's own property correlations against published values.

Saturation: CoolProp 8.0 (Tillner-Roth & Baehr 1994; Lemmon & Akasaka 2022), which agrees within 0.05 % with the VDI
Heat Atlas table for R-134a. Superheated vapour: CoolProp 8.0. Container heel: CoolProp 8.0, saturated vapour in 0.36 L.
"""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firmware_bridge.virtual.refrigerant import R134A, R1234YF

R134A_TABLE = [
    (-30, 84.38, 1388.4, 4.43, 219.5),
    (-20, 132.73, 1358.3, 6.78, 212.9),
    (-10, 200.60, 1327.1, 10.04, 206.0),
    (0, 292.80, 1294.8, 14.43, 198.6),
    (20, 571.71, 1225.3, 27.78, 182.3),
    (25, 665.38, 1206.7, 32.35, 177.8),
    (40, 1016.59, 1146.7, 50.09, 163.0),
    (60, 1681.78, 1052.9, 87.38, 139.1),
    (70, 2116.83, 996.2, 115.57, 124.4),
]
R1234YF_TABLE = [
    (-30, 98.93, 1264.7, 5.84, 181.1),
    (-10, 221.79, 1206.8, 12.55, 169.7),
    (0, 315.88, 1176.1, 17.63, 163.5),
    (25, 682.70, 1091.7, 37.89, 145.5),
    (40, 1018.47, 1033.6, 57.67, 132.4),
    (70, 2044.45, 882.5, 132.04, 96.6),
]
ROWS = [(R134A, *row) for row in R134A_TABLE] + [(R1234YF, *row) for row in R1234YF_TABLE]


@pytest.mark.parametrize(("fluid", "temp_c", "p_kpa", "liquid", "vapour", "latent"), ROWS)
def test_saturation_is_within_one_percent_of_the_published_table(fluid, temp_c, p_kpa, liquid, vapour, latent):
    assert fluid.psat_kpa(temp_c) == pytest.approx(p_kpa, rel=0.01)
    assert fluid.liquid_density(temp_c) == pytest.approx(liquid, rel=0.01)
    assert fluid.saturated_vapour_density(temp_c) == pytest.approx(vapour, rel=0.01)
    assert fluid.latent_j_per_g(temp_c) == pytest.approx(latent, rel=0.015)


@pytest.mark.parametrize(
    ("fluid", "p_kpa", "temp_c", "density"),
    [
        (R134A, 300.0, 25.0, 13.179),
        (R134A, 150.0, 25.0, 6.369),
        (R134A, 1200.0, 60.0, 54.335),
        (R1234YF, 300.0, 25.0, 14.808),
    ],
)
def test_superheated_vapour_density_is_within_three_percent(fluid, p_kpa, temp_c, density):
    assert fluid.vapour_density(p_kpa, temp_c) == pytest.approx(density, rel=0.03)


def test_a_small_container_keeps_its_heel_of_saturated_vapour():
    assert 0.36 * R134A.saturated_vapour_density(25.0) == pytest.approx(11.6, abs=0.2)


@given(st.sampled_from([R134A, R1234YF]), st.floats(-30.0, 70.0))
def test_saturation_temperature_undoes_saturation_pressure(fluid, temp_c):
    assert fluid.tsat_c(fluid.psat_kpa(temp_c)) == pytest.approx(temp_c, abs=1e-6)


@given(st.sampled_from([R134A, R1234YF]), st.floats(-20.0, 60.0), st.floats(0.01, 0.99))
def test_vapour_pressure_undoes_vapour_density(fluid, temp_c, share):
    p_kpa = share * fluid.psat_kpa(temp_c)
    assert fluid.vapour_pressure_kpa(fluid.vapour_density(p_kpa, temp_c), temp_c) == pytest.approx(p_kpa, rel=1e-9)
