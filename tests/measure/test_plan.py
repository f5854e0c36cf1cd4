"""The plan of a charge: containers, stops, what the hose keeps, what is left over."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.measure.plan import Container, Placard, heel_g, hose_vapour_g, plan_charge

OUNCE_G = 28.349523125


def placard(nominal_g: float, spread_g: float = 15.0) -> Placard:
    return Placard(nominal_g - spread_g, nominal_g + spread_g, nominal_g)


def test_twenty_two_ounces_from_two_of_twelve():
    """Common practice, no source: two containers, and the second is stopped after ten ounces."""
    plan = plan_charge(placard(22 * OUNCE_G), [Container(12 * OUNCE_G), Container(12 * OUNCE_G)])
    assert plan.containers_needed == 2 and plan.to_buy == 0
    assert [d.draw_g / OUNCE_G for d in plan.draws] == pytest.approx([12.0, 10.0])
    assert plan.draws[1].left_g / OUNCE_G == pytest.approx(2.0)


def test_an_emptied_container_keeps_its_vapour():
    """R-134a at 25 °C, CoolProp 8: 11.6 g in 0.36 L, 437 g in 13.5 L, and R-1234yf 186 g in 4.9 L (10 lb)."""
    assert heel_g(Container(340.2), "R-134a") == pytest.approx(11.6, rel=0.03)
    assert heel_g(Container(13_608), "R-134a") == pytest.approx(437, rel=0.07)
    assert heel_g(Container(4536), "R-1234yf") == pytest.approx(186, rel=0.05)
    plan = plan_charge(placard(22 * OUNCE_G), [Container(12 * OUNCE_G)] * 2)
    first, second = plan.draws
    assert first.draw_heels_kept_g == pytest.approx(first.draw_g - first.heel_g)
    assert second.draw_heels_kept_g == pytest.approx(second.draw_g + first.heel_g)


def test_the_scale_reading_to_stop_at():
    plan = plan_charge(placard(500), [Container(340, gross_g=520), Container(340, tare_g=160), Container(340)])
    assert [d.stop_gross_g for d in plan.draws] == pytest.approx([180, 340])
    assert plan.unused == (3,)
    assert plan_charge(placard(300), [Container(340)]).draws[0].stop_gross_g is None


def test_part_used_ones_come_first():
    plan = plan_charge(placard(400), [Container(340), Container(340, content_g=150)])
    assert [d.given for d in plan.draws] == [2, 1]
    assert [d.draw_g for d in plan.draws] == pytest.approx([150, 250])


def test_the_hose_is_drawn_for_on_top():
    """1.83 m of 1/4 in. hose is 57.9 mL and holds 69.9 g of liquid R-134a at 25 °C (CoolProp 8)."""
    plan = plan_charge(placard(300), [Container(340)], hose_volume_ml=57.9, hose_residue_g=0.9)
    assert plan.draws[0].draw_g == pytest.approx(300.9)
    assert plan.hose_if_liquid_g == pytest.approx(69.9, rel=0.002)
    assert hose_vapour_g(31.7, "R-134a") == pytest.approx(0.49, rel=0.1)


def test_what_lacks_is_counted_with_the_heels():
    plan = plan_charge(placard(24 * OUNCE_G), [Container(12 * OUNCE_G)] * 2)
    assert plan.short_g == pytest.approx(0, abs=1e-9)
    assert plan.short_heels_kept_g == pytest.approx(2 * heel_g(Container(12 * OUNCE_G), "R-134a"))
    assert plan.to_buy == 1 and plan.containers_needed == 3
    three = plan_charge(placard(24 * OUNCE_G), [Container(12 * OUNCE_G)] * 3)
    assert three.containers_needed == 3 and three.draws[2].draw_g == pytest.approx(0, abs=1e-9)
    assert three.draws[2].draw_heels_kept_g == pytest.approx(plan.short_heels_kept_g)


@pytest.mark.parametrize(
    ("containers", "refrigerant", "hose"),
    [
        ([], "R-134a", 0),
        ([Container(340)], "R-999", 0),
        ([Container(340, content_g=-1)], "R-134a", 0),
        ([Container(340, gross_g=100, tare_g=200)], "R-134a", 0),
        ([Container(340)], "R-134a", -1),
        ([Container(340)], "R-134a", float("nan")),
    ],
)
def test_what_cannot_be_planned_is_said(containers, refrigerant, hose):
    with pytest.raises(ValueError):
        plan_charge(placard(500), containers, hose, 0.0, refrigerant)


@given(
    st.floats(50, 5000),
    st.lists(st.builds(Container, st.floats(200, 3000), st.none() | st.floats(1, 200)), min_size=1, max_size=6),
    st.floats(0, 50),
)
def test_mass_is_neither_lost_nor_made(nominal, containers, residue):
    plan = plan_charge(placard(nominal, 10), containers, 0.0, residue)
    drawn, held = sum(d.draw_g for d in plan.draws), sum(c.holds_g for c in containers)
    assert drawn == pytest.approx(min(plan.to_draw_g, held))
    assert all(d.left_g >= 0 and d.draw_g + d.left_g == pytest.approx(d.container.holds_g) for d in plan.draws)
    kept = sum(d.draw_heels_kept_g for d in plan.draws)
    assert kept + plan.short_heels_kept_g == pytest.approx(plan.to_draw_g)
    assert (plan.to_buy > 0) == (plan.short_heels_kept_g > 1e-9)
    assert sorted([d.given for d in plan.draws] + list(plan.unused)) == list(range(1, len(containers) + 1))
