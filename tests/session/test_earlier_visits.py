"""What is known of a vehicle from before: visits, what it lost, patterns that are back."""

from __future__ import annotations

import json

import pytest

from logger.session.earlier_visits import MOST, UNNAMED, before
from logger.session.shop_review import shop_review

VIN, OTHER_VIN = "1G4AH59H45G118341", "1M8GDM9AXKP042788"
CHARGED = {"charge": {"delivered_g": 500.0, "uncertainty_g": 4.0}, "evacuation": {"lowest_pa": 20.0}}
RECOVERED = {"recovered": {"mass_g": 440.0, "uncertainty_g": 3.0}}


def told(session_id: str, day: str | None, job: dict, **findings) -> tuple[dict, dict]:
    at = f"{day}T12:00:00Z" if day else None
    return {"session_id": session_id, "started_utc": at, "vehicle": {}}, {"job": job, **findings}


def looks(*patterns: str) -> dict:
    return {"performance": {"patterns": [{"pattern": name, "evidence": []} for name in patterns]}}


NOW = told("now", "2025-03-01", {"vin": VIN, "registration": "AB 1"}, **RECOVERED, **looks("undercharge", "air"))
THEN = told("then", "2024-03-01", {"registration": "ab1", "repair": "O-ring"}, **CHARGED, **looks("undercharge"))


def test_what_it_lost_since_and_what_is_back():
    """500 g in, 440 g out 365 days later: 60 g, 60.04 g/year; uncertainties in quadrature, 15 g for what stays."""
    found = before(NOW, [THEN])["before"]
    u = (4**2 + 3**2 + 15**2) ** 0.5 / (365 / 365.25)
    assert found["vehicle"] == VIN and found["patterns_again"] == ["undercharge"]
    assert found["loss"]["lost_g"] == 60.0 and found["loss"]["g_per_year"] == pytest.approx(60.04, abs=0.01)
    assert found["loss"]["uncertainty_g_per_year"] == pytest.approx(u)
    (visit,) = found["visits"]
    assert (visit["session_id"], visit["days_before"], visit["repair"]) == ("then", 365.0, "O-ring")
    assert found["words"] == [
        "Here before once, last on 2024-03-01, 365 days earlier.",
        "On 2024-03-01 500 ± 4 g went in after evacuation; 440 ± 3 g came out this time.",
        "Lost 60 ± 16 g/year over 365 days. Find and mend the leak before the next charge.",
        "It looked like undercharge then, and does again: a guide only.",
    ]
    json.dumps(found, allow_nan=False)


def test_a_visit_that_weighed_nothing_stands_in_nothings_way():
    looked = told("looked", "2024-09-01", {"vin": VIN})
    found = before(NOW, [looked, THEN])["before"]
    assert found["loss"]["from"] == "then" and found["words"][0].startswith("Here before twice, last on 2024-09-01")


def test_a_top_up_in_between_leaves_the_loss_unjudged():
    topped = told("topped", "2024-09-01", {"vin": VIN}, charge={"delivered_g": 100.0, "uncertainty_g": 4.0})
    found = before(NOW, [topped, THEN])["before"]
    assert found["loss"]["g_per_year"] is None and "charged mass is not on record" in " ".join(found["words"])


@pytest.mark.parametrize(
    ("now", "then", "word"),
    [
        (told("n", None, {"vin": VIN}, **RECOVERED), THEN, "time of one of the two is not known"),
        (told("n", "2024-03-05", {"registration": "AB 1"}, **RECOVERED), THEN, "4 days between the two are too few"),
        (told("n", "2025-03-05", {"registration": "AB 1"}), THEN, "recovered mass is not on record"),
    ],
)
def test_what_cannot_be_judged_says_why(now, then, word):
    found = before(now, [then])["before"]
    assert found["loss"]["g_per_year"] is None and word in " ".join(found["words"])


def test_a_registration_that_moved_on_is_another_vehicle():
    other = told("other", "2024-06-01", {"vin": OTHER_VIN, "registration": "AB 1"}, **CHARGED)
    assert [v["session_id"] for v in before(NOW, [other, THEN])["before"]["visits"]] == ["then"]
    plate_only = told("now", "2025-03-01", {"registration": "AB 1"})
    older = told("older", "2023-06-01", {"vin": VIN, "registration": "AB 1"})
    assert [v["session_id"] for v in before(plate_only, [other, older])["before"]["visits"]] == ["other"]


def test_new_unnamed_and_frequent_vehicles():
    assert before(told("n", None, {}), []) == {"before": None, "before_why": UNNAMED}
    new = before(NOW, [])
    assert new["before_why"] == "" and new["before"]["visits"] == [] and new["before"]["loss"] is None
    assert new["before"]["words"] == ["Not here before, as far as this record goes."]
    often = before(NOW, [told(f"s{k}", None, {"vin": VIN}) for k in range(MOST)])["before"]
    assert often["words"][0] == f"Here before {MOST} times or more, last at a time not known."


def test_the_shops_review_knows_it_again_too():
    """By its registration alone on one visit, by its VIN as well on the other."""
    found = shop_review([NOW, THEN])
    assert [(v["vehicle"], v["session_ids"]) for v in found["repeat_vehicles"]] == [(VIN, ["then", "now"])]
    other = told("other", "2024-06-01", {"vin": OTHER_VIN, "registration": "AB 1"})
    assert shop_review([NOW, other, THEN])["repeat_vehicles"] == []


@pytest.mark.parametrize(("day", "said"), [("2024-03-01", "the same day"), ("2024-03-02", "a day earlier")])
def test_days_are_told_as_people_do(day, said):
    assert said in before(told("now", day, {"registration": "AB 1"}), [THEN])["before"]["words"][0]


def test_at_intake_it_says_what_will_tell():
    summary, findings = told("now", "2024-02-01", {"registration": "AB 1"})
    words = before(({**summary, "open": True}, findings), [THEN])["before"]["words"]
    assert words[0] == "Here before once, last on 2024-03-01." and words[-1].startswith("Weigh what comes out now")
