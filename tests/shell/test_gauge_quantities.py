"""Gauge pressures and temperatures as technicians type them."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.gauge_quantities import parse_gauge_kpa, parse_temperature_c
from logger.quantities import QuantityError

# NIST SP 811 (2008), appendix B.8: pound-force per square inch 6.894 757 E+03 Pa, bar 1.0 E+05 Pa.


@pytest.mark.parametrize(
    ("text", "kpa"),
    [("76 psi", 524.0015), ("76psig", 524.0015), ("5,2 bar", 520), ("-0.1 MPa", -100)],
)
def test_pressures(text, kpa):
    assert parse_gauge_kpa(text) == pytest.approx(kpa, abs=1e-3)


@pytest.mark.parametrize(("text", "temp_c"), [("70 F", 21.1111), ("70°F", 21.1111), ("21.5 C", 21.5), ("-4 °C", -4)])
def test_temperatures(text, temp_c):
    assert parse_temperature_c(text) == pytest.approx(temp_c, abs=1e-4)


@pytest.mark.parametrize("text", ["", "76", "psi", "1e9 psi", "nan psi", "76 furlong", "-3 bar", "9999 bar", "7 6 psi"])
def test_what_is_no_pressure_is_refused_with_an_example(text):
    with pytest.raises(QuantityError, match="write for instance 76 psi"):
        parse_gauge_kpa(text)


@pytest.mark.parametrize("text", ["", "21", "21 K", "500 F", "-90 C"])
def test_what_is_no_temperature_is_refused_with_an_example(text):
    with pytest.raises(QuantityError, match="write for instance 70 F"):
        parse_temperature_c(text)


@given(st.text(max_size=20))
def test_no_text_brings_anything_but_a_number_or_a_refusal(text):
    for parse in (parse_gauge_kpa, parse_temperature_c):
        try:
            assert -400.0 < parse(text) < 30_000.0
        except QuantityError as error:
            assert "write for instance" in str(error)
