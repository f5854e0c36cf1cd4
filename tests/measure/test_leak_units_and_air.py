"""Standard atmosphere, leak units, hose content, air in a container, leakage over months: published values."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from reference import published

from logger.measure import atmosphere, water
from logger.measure.atmosphere import PA_PER_INHG, PA_PER_MICRON, ambient_pressure
from logger.measure.container_air import container_air
from logger.measure.hose import hose_content_g, hose_volume_ml
from logger.measure.leak_rate import (
    flow_ratios,
    grams_per_year,
    hold_time_s,
    same_throughput_g_per_year,
    throughput_pa_m3_per_s,
)
from logger.measure.leakage import leakage
from logger.measure.pump_down import needle_words

SEA_PA = 101325.0


@pytest.mark.parametrize(("altitude_m", "kpa"), published.ATMOSPHERE_KPA.items())
def test_standard_atmosphere(altitude_m, kpa):
    """ISO 2533."""
    assert atmosphere.standard_pressure_pa(altitude_m) == pytest.approx(kpa * 1e3, rel=2e-4)


def test_ambient_is_taken_from_the_best_that_there_is():
    assert ambient_pressure(83.4, 0.0).source == "barometer"
    assert ambient_pressure(None, 1609.0).pa == pytest.approx(83.44e3, rel=2e-4)
    assert ambient_pressure(0.0, None).source == "assumed sea level"
    assert atmosphere.absolute_pa(-110.0, SEA_PA) == 0.0
    with pytest.raises(ValueError, match="altitude"):
        atmosphere.standard_pressure_pa(20_000.0)


def test_full_vacuum_on_a_needle():
    """About 30 inHg at sea level: common practice, no source. At 1609 m 24.64 (ISO 2533)."""
    assert atmosphere.gauge_vacuum_inhg(0.0, SEA_PA) == pytest.approx(published.FULL_VACUUM_INHG, abs=0.1)
    assert atmosphere.gauge_vacuum_inhg(0.0, atmosphere.standard_pressure_pa(1609)) == pytest.approx(24.64, abs=0.01)
    assert pytest.approx(published.AIR_FREE_MICRON, rel=1e-3) == 2027.0 / PA_PER_MICRON
    assert "24.6" in needle_words(20.0, atmosphere.standard_pressure_pa(1609))


@pytest.mark.parametrize(("temp_f", "inhg"), published.BOILING_INHG.items())
def test_vacuum_that_boils_water(temp_f, inhg):
    """US Army TM 5-3805-292-23, given to a tenth or half of an inch."""
    boils_pa = water.saturation_pa((temp_f - 32.0) / 1.8)
    assert (SEA_PA - boils_pa) / PA_PER_INHG == pytest.approx(inhg, abs=0.06)


@pytest.mark.parametrize(("number", "per_unit"), published.G_PER_YEAR.items())
def test_throughput_as_grams_a_year(number, per_unit):
    assert same_throughput_g_per_year(1.0, number) == pytest.approx(per_unit, rel=2e-3)


@pytest.mark.parametrize(("case", "ratios"), published.FLOW_RATIOS.items())
def test_ratio_of_outward_to_inward_flow(case, ratios):
    number, kpa = case
    molecular, viscous = flow_ratios(number, kpa * 1e3, SEA_PA)
    assert molecular == pytest.approx(ratios[0], rel=0.03)
    assert viscous == pytest.approx(ratios[1], rel=0.03)


def test_the_worked_leak():
    """100 micron in 10 min of 2 l of R-134a: 4.44e-5 Pa·m³/s, 57.7 g/year as throughput, 171 to 3796 g/year parked."""
    leak = throughput_pa_m3_per_s(100.0 * PA_PER_MICRON / 600.0, 2000.0)
    assert leak == pytest.approx(4.44e-5, rel=1e-3)
    assert same_throughput_g_per_year(leak, "R-134a") == pytest.approx(57.7, rel=0.01)
    assert grams_per_year(leak, "R-134a", SEA_PA) == pytest.approx((171.0, 3796.0), rel=0.01)


@pytest.mark.parametrize(("g_per_year", "micron"), published.HOLD_SEES.items())
def test_what_ten_minutes_of_hold_can_see(g_per_year, micron):
    """The time a leak needs to raise 2 l by so many micron must be those ten minutes."""
    viscous, molecular = micron
    assert hold_time_s(g_per_year, "R-134a", 2000.0, molecular * PA_PER_MICRON, SEA_PA)[0] == pytest.approx(
        600, rel=0.05
    )
    assert hold_time_s(g_per_year, "R-134a", 2000.0, viscous * PA_PER_MICRON, SEA_PA)[1] == pytest.approx(600, rel=0.05)


@given(leak=st.floats(0.0, 1.0), number=st.sampled_from(sorted(published.G_PER_YEAR)))
def test_bounds_are_in_order(leak, number):
    low, high = grams_per_year(leak, number, SEA_PA)
    assert 0.0 <= low <= high


@pytest.mark.parametrize(("number", "grams"), published.HOSE_6FT_G.items())
def test_six_feet_of_quarter_inch_hose(number, grams):
    volume_ml = hose_volume_ml(1.83, 6.35)
    assert volume_ml == pytest.approx(57.9, abs=0.1)
    liquid, vapour = grams
    assert hose_content_g(number, volume_ml, None, 25.0, "liquid").mass_g == pytest.approx(liquid, rel=5e-3)
    if vapour:
        assert hose_content_g(number, volume_ml, 350e3, 25.0).mass_g == pytest.approx(vapour, rel=0.01)


def test_hose_content_says_what_it_cannot_tell():
    assert hose_content_g("R-134a", None, 3e5, 20.0).mass_g is None
    assert hose_content_g("R-134a", 70.0, 100.0, None).mass_g == 0.0
    assert "temperature" in hose_content_g("R-134a", 70.0, 3e5, None).why
    assert "liquid may be present" in hose_content_g("R-134a", 70.0, 9e5, 20.0).why
    assert "critical" in hose_content_g("R-744", 70.0, 5e6, 40.0).why


@pytest.mark.parametrize(("temp_f", "psig"), published.J2211_PSIG.items())
def test_air_limits_of_j2211(temp_f, psig):
    """SAE J2211 table 1 (recalled): two psi under each limit passes, two above is air."""
    temp_c, ambient = (temp_f - 32.0) / 1.8, ambient_pressure(101.325, None)
    verdicts = [
        container_air("R-134a", (psig + off) * 6.894757, temp_c, ambient, 13 * 3600.0, True).verdict for off in (-2, 2)
    ]
    assert verdicts == ["pass", "air"]


@pytest.mark.parametrize(
    ("change", "word"),
    [
        ({"gauge_kpa": None}, "pressure"),
        ({"temp_c": None}, "temperature"),
        ({"soaked_s": 3600.0}, "12 h"),
        ({"transducer_zeroed": False}, "zero"),
        ({"ambient": ambient_pressure(None, None)}, "barometer"),
        ({"temp_c": 10.0}, "18.3"),
    ],
)
def test_air_is_not_judged_without_its_conditions(change, word):
    given_ = {
        "gauge_kpa": 520.0,
        "temp_c": 21.1,
        "ambient": ambient_pressure(101.3, None),
        "soaked_s": 50_000.0,
        "transducer_zeroed": True,
    }
    judged = container_air("R-134a", **(given_ | change))
    assert judged.verdict == "not-judged"
    assert word in judged.why


def test_leakage_over_months():
    found = leakage(600.0, 5.0, 540.0, 10.0, 365.25)
    assert found.g_per_year == pytest.approx(60.0)
    assert found.uncertainty_g_per_year == pytest.approx((5**2 + 10**2 + 15**2) ** 0.5)
    assert "No loss" in leakage(600.0, 5.0, 595.0, 10.0, 365.25).words
    assert "topped" in leakage(500.0, 5.0, 595.0, 10.0, 365.25).words
    assert leakage(None, 5.0, 595.0, 10.0, 365.25).g_per_year is None
    assert leakage(600.0, 5.0, 595.0, 10.0, 5.0).g_per_year is None
