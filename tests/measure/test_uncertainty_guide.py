"""The budget beside a worked example of JCGM 100:2008 (GUM), Annex H.1. (H.3, the line, is beside the calibration.)

The guide was not at hand: its numbers are from memory; the inputs 25 nm, 5.8 nm and 3.9 nm were seen again in a public
program that carries the example. They agree with each other: the guide's components give the guide's result.
"""

from __future__ import annotations

import math

import pytest

from logger.measure.budget import Component, combined, expanded, rectangular, resolution


def test_an_end_gauge_of_50_mm():
    """H.1: comparison with a standard of 50 mm, expansion 11.5e-6 /°C, bench 0.1 °C off; lengths in nm here."""
    length_nm, expansion_per_c, off_c = 50e6, 11.5e-6, 0.1
    difference = [
        Component("repeated observations", 13.0 / math.sqrt(5), "H.1.3.2"),
        Component("comparator, random", 3.9, "0.01 µm / 2.57"),
        Component("comparator, systematic", 6.7, "0.02 µm / 3"),
    ]
    assert combined(difference) == pytest.approx(9.7, abs=0.05)
    expansion = rectangular(1e-6) * length_nm * off_c
    temperature = rectangular(0.05) * length_nm * expansion_per_c
    assert (expansion, temperature) == (pytest.approx(2.9, abs=0.05), pytest.approx(16.6, abs=0.05))
    budget = [
        Component("standard", 25.0, "0.075 µm / 3"),
        *difference,
        Component("expansion, difference of the two", expansion, "H.1.3.5"),
        Component("temperature, difference of the two", temperature, "H.1.3.6"),
    ]
    assert combined(budget) ** 2 == pytest.approx(1002.0, rel=0.01)
    assert combined(budget) == pytest.approx(32.0, abs=0.5)
    assert expanded(budget) == pytest.approx(2 * combined(budget))


def test_the_rectangular_examples_of_the_text():
    """4.3.7: expansion of copper within ±0.40e-6 /°C has u = 0.23e-6; F.2.2.1: a step of 1 has u = 0.29 of it."""
    assert rectangular(0.40e-6) == pytest.approx(0.23e-6, abs=0.005e-6)
    assert resolution(1.0) == pytest.approx(0.29, abs=0.005)
