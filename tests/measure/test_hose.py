"""What a hose holds, beside CoolProp's densities."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from logger.measure.hose import hose_content_g, hose_volume_ml

coolprop = pytest.importorskip("CoolProp.CoolProp", reason="CoolProp is the reference; it is a test dependency")

FLUIDS = {"R-134a": "R134a", "R-1234yf": "R1234yf", "R-152a": "R152A"}
VOLUME_ML = 31.7 * 1.83
"""A 1/4 in. hose of 6 ft."""


@settings(max_examples=60)
@given(st.sampled_from(sorted(FLUIDS)), st.floats(0.0, 45.0), st.floats(0.05, 0.97))
def test_vapour_below_saturation(refrigerant, temp_c, share):
    """Within what the content itself says of its uncertainty, and within 3 %."""
    pressure_pa = max(share * coolprop.PropsSI("P", "T", temp_c + 273.15, "Q", 1, FLUIDS[refrigerant]), 2500.0)
    true_g = coolprop.PropsSI("D", "T", temp_c + 273.15, "P", pressure_pa, FLUIDS[refrigerant]) * VOLUME_ML * 1e-3
    content = hose_content_g(refrigerant, VOLUME_ML, pressure_pa, temp_c)
    assert content.phase == "vapour" and abs(content.mass_g - true_g) <= content.uncertainty_g
    assert content.mass_g == pytest.approx(true_g, rel=0.03)


@settings(max_examples=30)
@given(st.sampled_from(sorted(FLUIDS)), st.floats(0.0, 45.0))
def test_liquid(refrigerant, temp_c):
    true_g = coolprop.PropsSI("D", "T", temp_c + 273.15, "Q", 0, FLUIDS[refrigerant]) * VOLUME_ML * 1e-3
    content = hose_content_g(refrigerant, VOLUME_ML, None, temp_c, phase="liquid")
    assert content.mass_g == pytest.approx(true_g, rel=0.005)


def test_a_metre_of_quarter_inch_hose_full_of_liquid():
    """38.2 g/m of R-134a at 25 °C: 6.35 mm inside, density 1206.7 kg/m³ (CoolProp, Tillner-Roth & Baehr 1994)."""
    volume_ml = hose_volume_ml(1.0, 6.35)
    assert volume_ml == pytest.approx(math.pi / 4 * 6.35**2)
    assert hose_content_g("R-134a", volume_ml, None, 25.0, "liquid").mass_g == pytest.approx(38.2, abs=0.1)


def test_what_cannot_be_told_is_none_with_a_reason():
    for volume_ml, temp_c, why in ((None, 25.0, "volume"), (50.0, None, "temperature")):
        content = hose_content_g("R-134a", volume_ml, 300e3, temp_c)
        assert content.mass_g is None and why in content.why
    assert hose_content_g("R-134a", 50.0, 500.0, 25.0).mass_g == 0.0
    above = hose_content_g("R-134a", 50.0, 900e3, 25.0)
    assert "saturat" in above.why and above.uncertainty_g > 0.2 * above.mass_g
