"""The review of all sessions from the command line, and what a cart's place adds to a session."""

from __future__ import annotations

import json

import pytest

from firmware_bridge.cart import load_cart
from logger.cli import main
from logger.session.shop_review import shop_review
from logger.session_defaults import filled_in
from logger.shop_text import shop_as_text


@pytest.fixture
def data(recordings, tmp_path, capsys):
    arguments = ["--data", str(tmp_path / "data")]
    for name in ("single-cylinder", "backflow"):
        assert main(["import", str(recordings / f"{name}.zip"), *arguments]) == 0
    capsys.readouterr()
    return arguments


def test_all_sessions_in_words_and_as_json(data, capsys):
    assert main(["review", *data]) == 0
    out = capsys.readouterr().out
    assert "2 sessions" in out and "Charge error  mean +" in out and "provisional" in out
    assert "no danger" in out and "1 pass, 1 fail" in out or "1 fail, 1 pass" in out
    assert main(["review", "--json", *data]) == 0
    assert json.loads(capsys.readouterr().out)["sessions"] == 2


def test_one_session_still(data, capsys):
    assert main(["review", "sim-44b1ee3b", "--strict", *data]) == 1
    assert "charge within the label" in capsys.readouterr().out


def test_nothing_to_review_is_no_fault():
    assert shop_as_text(shop_review([])) == "0 sessions"


@pytest.mark.parametrize(("line", "expected"), [('jurisdiction = "EU"', "EU"), ("", None)])
def test_a_session_knows_the_jurisdiction_of_its_cart(line, expected, tmp_path):
    path = tmp_path / "cart.toml"
    path.write_text(
        f'[cart]\nid = "c"\n{line}\n[board]\nport = "/dev/null"\n[channel.scale]\nsource = "board"\nfield = "w"\n'
        "points = [[0, 0], [1, 1]]\n"
    )
    assert filled_in({}, load_cart(path)).get("jurisdiction") == expected
    assert filled_in({"jurisdiction": "UK"}, load_cart(path))["jurisdiction"] == "UK"
    with path.open("a") as file:
        file.write('[reminders]\ncharging = "Door shut."\n')
    assert filled_in({}, load_cart(path))["reminders"] == {"charging": "Door shut."}
