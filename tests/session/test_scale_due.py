"""When the scale was last checked with a weight: what is kept with a session, and what it is judged by."""

from __future__ import annotations

import pytest

from logger.session.pipeline import Pipeline
from logger.session.review import review
from logger.session.scale_due import NEVER, due_words, is_due, last_check, told_check
from logger.session.setup import SessionSetup

NOW = "2026-03-01T08:00:00.000Z"
OLD = {"at_utc": "2025-12-01T08:00:00+00:00", "nominal_g": 2000.0, "shown_g": 2003.0, "outcome": "fail"}
NEW = {"at_utc": "2026-02-10T08:00:00Z", "nominal_g": 2000.0, "shown_g": 1999.6, "outcome": "pass"}


def row(check: dict | None) -> dict | None:
    findings = {"charge": {"delivered_g": 500.0}, "scale_check": check}
    return next((row for row in review(findings) if row["criterion"] == "scale checked"), None)


def test_the_newest_check_counts_however_they_are_kept():
    found = last_check([NEW, OLD], NOW, None)
    assert (found["days_before"], found["off_g"], found["due_days"]) == (19.0, -0.4, 30.0) and not is_due(found)
    assert due_words(found) == ("last checked with 2000 g on 2026-02-10, off by -0.4 g, 19 days ago; due after 30 days")
    judged = row(found)
    assert (judged["outcome"], judged["measured"], judged["unit"]) == ("pass", 19.0, "days")


@pytest.mark.parametrize(
    ("check", "outcome", "word"),
    [
        (last_check([NEW], NOW, 14.0), "marginal", "2026-02-10"),
        (last_check([{**NEW, "outcome": "fail"}], NOW, None), "marginal", "2026-02-10"),
        (last_check([], NOW, None), "not-judged", NEVER),
        (last_check([NEW], None, None), "not-judged", "time of this session was not known"),
    ],
)
def test_an_old_a_failed_and_no_check(check, outcome, word):
    judged = row(check)
    assert judged["outcome"] == outcome and word in judged["why"]
    if outcome == "marginal":
        assert is_due(check) and ("due after 14 days" in due_words(check)) != ("it failed" in due_words(check))


def test_a_recording_of_a_cart_that_did_not_tell_is_not_asked():
    assert row(None) is None


@pytest.mark.parametrize("told", [None, "yes", [1], {"days_before": "x", "due_days": float("nan"), "at_utc": 5}])
def test_a_recording_carries_it_and_nonsense_in_it_stops_nothing(told):
    setup = SessionSetup.from_json({"session_id": "s", "scale_check": told})
    found = Pipeline(setup, {}).findings()["scale_check"]
    assert found is None or (found["at_utc"], found["days_before"], found["due_days"]) == (None, None, 30.0)
    assert told_check(last_check([NEW], NOW, 14.0)) == last_check([NEW], NOW, 14.0)
