"""The same readings under another target, lag or limit."""

from __future__ import annotations

import json

import pytest

from logger.cli import main
from logger.record.recording import read_recording
from logger.session.what_if import WhatIfError, differences, parse_changes, split_changes

LIMITS = ("high_side_kpa",)


def what_if(capsys, path, *changes) -> dict[str, tuple]:
    arguments = [word for change in changes for word in ("--what-if", change)]
    assert main(["replay", str(path), "--json", *arguments]) == 0
    rows = json.loads(capsys.readouterr().out)["differences"]
    return {row["what"]: (row["was"], row["would_be"]) for row in rows}


def test_a_longer_lag_calls_the_stop_earlier_and_leaves_the_mass_alone(recordings, capsys):
    path = recordings / "single-cylinder.zip"
    lag_s = read_recording(path).session["close_lag_s"]
    found = what_if(capsys, path, f"close_lag_s={lag_s + 2.0}")
    was, would_be = found["charge.stop_alert_t_s"]
    assert was - would_be == pytest.approx(2.0, abs=0.3)
    assert found["alert stop-charging"] == (was, would_be) and "charge.delivered_g" not in found


def test_a_lower_limit_brings_an_alert_and_turns_a_criterion(recordings, capsys):
    found = what_if(capsys, recordings / "full-session.zip", "high_side_kpa=1200")
    assert found["alert high-side-high"][0] is None and found["alert high-side-high"][1] > 5800
    assert found["review: no danger"] == ("pass", "fail")


def test_words_and_nothing(recordings, capsys):
    path = str(recordings / "hold-leak.zip")
    assert main(["replay", path, "--what-if", "close_lag_s=1.5"]) == 0  # nothing is charged in it
    assert capsys.readouterr().out == "nothing would differ\n"
    assert main(["replay", path, "--what-if", "target_g=700"]) == 0
    assert "charge.target_g" in capsys.readouterr().out


@pytest.mark.parametrize(
    "change", ["close_lag_s", "close_lag_s=slow", "=3", "colour=3", "close_lag_s=-1", "target_g=nan"]
)
def test_a_change_that_cannot_be_made_is_one_line(change, recordings, capsys):
    assert main(["replay", str(recordings / "hold-leak.zip"), "--what-if", change]) == 2
    (line,) = capsys.readouterr().err.splitlines()
    assert change.split("=")[0] in line


def test_changes_go_where_they_belong():
    changes = parse_changes(["close_lag_s=2.5", "high_side_kpa = 2000"])
    assert split_changes(changes, LIMITS) == ({"close_lag_s": 2.5}, {"high_side_kpa": 2000.0})
    with pytest.raises(WhatIfError, match="colour"):
        split_changes({"colour": 1.0}, LIMITS)


def test_the_second_alert_of_a_kind_is_compared_with_the_second():
    def findings(*alerts):
        return {"alerts": [{"code": code, "t_s": t_s} for code, t_s in alerts]}

    was, would_be = findings(("a", 1.0), ("b", 2.0), ("a", 3.0)), findings(("a", 1.0), ("a", 4.0))
    assert differences(was, would_be) == [
        {"what": "alert b", "was": 2.0, "would_be": None},
        {"what": "alert a (2)", "was": 3.0, "would_be": 4.0},
    ]
