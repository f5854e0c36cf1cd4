"""VINs and what else the job needs noted."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.measure.marks import Mark
from logger.record.recording import Recording
from logger.replay import replay
from logger.session.job import CHECKS, check_job, merge_job
from logger.session.vin import VALUES, VinError, check_digit, parse_vin

SAMPLE = "1G4AH59H45G118341"
"""49 CFR 565.15(c)(5), table V: products add up to 411, 411 modulo 11 is 4."""

vins = st.text(st.sampled_from(sorted(VALUES)), min_size=17, max_size=17)


def checked(vin: str, region: str = "1") -> str:
    vin = region + vin[1:]
    return vin[:8] + check_digit(vin) + vin[9:]


def test_the_worked_example_of_the_regulation():
    assert check_digit(SAMPLE) == "4" and parse_vin(SAMPLE) == SAMPLE
    assert parse_vin(" 1g4ah59h4 5g118341 ") == SAMPLE


@given(vins, st.sampled_from([k for k in range(1, 17) if k != 8]), st.sampled_from(sorted(VALUES)))
def test_one_wrong_character_is_found_unless_it_counts_the_same(vin, place, other):
    """Weights below 11 times a difference below 11 is no multiple of the prime 11, so the remainder changes."""
    vin = checked(vin)
    changed = vin[:place] + other + vin[place + 1 :]
    if VALUES[other] == VALUES[vin[place]]:
        assert parse_vin(changed) == changed
    else:
        with pytest.raises(VinError, match="check digit"):
            parse_vin(changed)


def test_elsewhere_position_nine_is_free():
    assert parse_vin("WAAZZZ12Z3B123456") == "WAAZZZ12Z3B123456"


@pytest.mark.parametrize(
    ("text", "word"),
    [("1G4AH59H45G11834", "16 characters"), ("1G4AH59H45GI18341", "is it 1"), ("1G4AH59H55G118341", "should be 4")],
)
def test_a_vin_that_is_none_says_why(text, word):
    with pytest.raises(VinError, match=word) as error:
        parse_vin(text)
    assert "\n" not in str(error.value)


@pytest.mark.parametrize(
    "wrong",
    [
        {"vin": "1G4AH59H55G118341"},
        {"odometer_km": -1},
        {"odometer_km": float("nan")},
        {"odometer_km": "90000"},
        {"dye_ml": True},
        {"parts": "condenser"},
        {"parts": [{"oil_ml": 30}]},
        {"parts": [{"part": "hose", "oil_ml": 1e6}]},
        {"leak_verdict": "maybe"},
        {"repair_done": "yes"},
        {"notes": 7},
        {"colour": "red"},
    ],
)
def test_what_cannot_be_kept_says_so_in_one_line_and_the_rest_is_kept(wrong):
    kept, problems = check_job({"technician": "J. Example", **wrong})
    (key,) = wrong
    assert kept == {"technician": "J. Example"} and len(problems) == 1
    assert problems[0].startswith(key) and "\n" not in problems[0]


def test_a_job_that_is_no_object():
    assert check_job([1]) == ({}, check_job([1])[1]) and check_job([1])[1]


keys = st.text(max_size=12) | st.sampled_from(sorted(CHECKS))


@given(st.dictionaries(keys, st.none() | st.floats() | st.text(), max_size=6))
def test_anything_is_either_kept_or_named(data):
    kept, problems = check_job(data)
    assert len(kept) + len(problems) == len(data) and all(line for line in problems)


def test_later_notes_go_before_and_none_takes_back():
    assert merge_job({"technician": "A", "dye_ml": 7.0}, {"technician": "B", "dye_ml": None}) == {"technician": "B"}


def test_notes_reach_the_findings():
    channels = {"scale": {"unit": "g", "rate_hz": 10}}
    session = {"session_id": "x", "channels": channels, "vehicle": {"registration": "AB 1", "vin": "too short"}}
    marks = [
        Mark(1.0, "note", {"text": "free text"}),
        Mark(2.0, "note", {"job": {"technician": "J. Example", "odometer_km": -4}}),
        Mark(3.0, "note", {"job": {"parts": [{"part": "condenser", "oil_ml": 30}]}}),
    ]
    findings = replay(Recording(session, marks=marks))
    assert findings["job"] == {
        "registration": "AB 1",
        "technician": "J. Example",
        "parts": [{"part": "condenser", "oil_ml": 30.0}],
    }
    assert findings["job_problems"] == ["odometer_km: -4 is not between 0 and 3e+06"]
