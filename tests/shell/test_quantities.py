"""Masses and placards as technicians write them."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.containers_text import parse_container
from logger.quantities import QuantityError, format_both, format_mass, parse_mass_g, parse_placard, unit_of

# NIST SP 811 (2008), appendix B.8: pound (avoirdupois) 4.535 924 E-01 kg, ounce (avoirdupois) 2.834 952 E-02 kg; the
# pound is exactly 0.453 592 37 kg (footnote 22). Digits from memory, and the exact pound divides into 16 ounces.
POUND_G = 453.59237
OUNCE_G = 28.34952


@pytest.mark.parametrize(
    ("text", "grams"),
    [
        ("1 lb", POUND_G),
        ("1 oz", OUNCE_G),
        ("16 oz", POUND_G),
        ("22 oz", 22 * OUNCE_G),
        ("12 oz", 340.19428),
        ("1 lb 6 oz", 22 * OUNCE_G),
        ("1lb6oz", 22 * OUNCE_G),
        ("21.5 ounces", 21.5 * OUNCE_G),
        ("1.26 LBS.", 1.26 * POUND_G),
        ("0.62 kg", 620),
        ("0,62 kg", 620),
        ("0,620 kg", 620),
        (".62 kg", 620),
        ("620g", 620),
        ("620 grams", 620),
        ("2 #", 2 * POUND_G),
    ],
)
def test_masses_in_the_units_of_the_trade(text, grams):
    assert parse_mass_g(text) == pytest.approx(grams, rel=3e-7)


@pytest.mark.parametrize(
    ("text", "low", "nominal", "high"),
    [
        ("1.26-1.39 lb", 1.26 * POUND_G, 1.325 * POUND_G, 1.39 * POUND_G),
        ("1.26 lb – 1.39 lb", 1.26 * POUND_G, 1.325 * POUND_G, 1.39 * POUND_G),
        ("570 to 600 g", 570, 585, 600),
        ("620 g +/- 15 g", 605, 620, 635),
        ("620 ± 15 g", 605, 620, 635),
        ("620g +- 15", 605, 620, 635),
        ("0,62 kg ± 15 g", 605, 620, 635),
        ("22 ± 0.5 oz", 21.5 * OUNCE_G, 22 * OUNCE_G, 22.5 * OUNCE_G),
        ("1 lb 4 oz - 1 lb 6 oz", 20 * OUNCE_G, 21 * OUNCE_G, 22 * OUNCE_G),
    ],
)
def test_placards_as_labels_print_them(text, low, nominal, high):
    placard = parse_placard(text)
    assert (placard.low_g, placard.nominal_g, placard.high_g) == pytest.approx((low, nominal, high), rel=3e-7)
    assert not placard.tolerance_assumed


def test_an_amount_alone_gets_the_published_tolerance_and_says_so():
    placard = parse_placard("22 oz")
    assert placard.high_g - placard.nominal_g == placard.nominal_g - placard.low_g == pytest.approx(15.0)
    assert placard.tolerance_assumed


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("", "no amount"),
        ("620", "no unit"),
        ("600-620", "no unit"),
        ("-620 g", "negative"),
        ("0 g", "zero"),
        ("600 kg", "not between"),
        ("1 g", "not between"),
        ("1.39-1.26 lb", "reversed"),
        ("15 g ± 620 g", "not between"),
        ("100 g ± 120 g", "tolerance"),
        ("620 g ±", "nothing follows"),
        ("600-610-620 g", "more than one"),
        ("22 fl oz", "no unit of mass"),
        ("600 ml", "no unit of mass"),
        ("600 gr", "told for sure"),
        ("600 bananas", "told for sure"),
        ("1,250 g", "two numbers"),
        ("6 oz 1 lb", "larger unit"),
        ("620 g!", "cannot read"),
        ("nan g", "number is missing"),
        ("g", "number is missing"),
    ],
)
def test_what_is_no_placard_gets_one_line_with_an_example(text, why):
    with pytest.raises(QuantityError) as caught:
        parse_placard(text)
    message = str(caught.value)
    assert why in message and "\n" not in message and "write" in message


@given(st.text(max_size=40))
def test_any_text_is_read_or_refused_in_one_line(text):
    try:
        placard = parse_placard(text)
    except QuantityError as error:
        assert "\n" not in str(error)
    else:
        assert 0 < placard.low_g <= placard.nominal_g <= placard.high_g


@given(st.floats(30, 20_000), st.sampled_from(["g", "kg", "oz", "lb", "lb oz"]))
def test_what_is_written_reads_back_within_its_last_digit(grams, unit):
    written = format_mass(grams, unit)
    last_digit = {"g": 0.1, "kg": 1.0, "oz": 2.84, "lb": 4.54, "lb oz": 2.84}[unit]
    text = written.removeprefix("0 lb ")
    assert parse_mass_g(text.removesuffix(" 0.0 oz") if "lb" in text else text) == pytest.approx(grams, abs=last_digit)


@given(st.floats(30, 10_000), st.floats(0, 29), st.sampled_from(["g", "oz", "lb", "kg"]))
def test_the_unit_does_not_change_the_amount(grams, tolerance, unit):
    factor = {"g": 1.0, "kg": 1000.0, "oz": OUNCE_G, "lb": POUND_G}[unit]
    nominal, spread = grams / factor, tolerance / factor
    placard = parse_placard(f"{nominal:.9f} ± {max(spread, 1e-3):.9f} {unit}")
    assert placard.nominal_g == pytest.approx(grams, rel=1e-6)


def test_the_answer_comes_in_the_readers_unit():
    assert unit_of("1.26-1.39 lb") == "lb"
    assert unit_of("1 lb 6 oz") == "lb oz"
    assert unit_of("620 g ± 0.5 oz") == "g"
    assert format_both(parse_mass_g("10 oz"), "oz") == "283.5 g (10.0 oz)"
    assert format_both(283.5, "g") == "283.5 g"
    assert format_mass(parse_mass_g("22 oz"), "lb oz") == "1 lb 6.0 oz"
    assert format_mass(-1, "lb oz") == "0 lb 0.0 oz" and format_mass(-OUNCE_G, "lb oz") == "-0 lb 1.0 oz"


def test_a_container_with_its_weighings():
    full = parse_container("340 g gross 520 g")
    assert (full.holds_g, full.full_gross_g, full.part_used) == (340, 520, False)
    used = parse_container("30 lb gross 9.4 kg tare 6.2 kg")
    assert used.holds_g == pytest.approx(3200) and used.part_used
    said = parse_container("12 oz left 5 oz TARE 160 g")
    assert said.holds_g == pytest.approx(5 * OUNCE_G, rel=1e-6)
    assert said.full_gross_g == pytest.approx(160 + 5 * OUNCE_G, rel=1e-6)


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("", "no amount"),
        ("12", "no unit"),
        ("12 oz gross", "no amount"),
        ("12 oz gross 200 g tare 300 g", "not above the tare"),
        ("12 oz gross 300 g", "nothing for the container"),
        ("12 oz left 20 oz", "more than it is sold"),
        ("12 oz gross 500 g tare 160 g left 3 oz", "already say"),
        ("12 oz tare 100 g tare 120 g", "twice"),
    ],
)
def test_a_container_that_makes_no_sense_is_refused(text, why):
    with pytest.raises(QuantityError, match=why):
        parse_container(text)
