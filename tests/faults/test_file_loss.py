"""Pairing, cart file, check weights, ledger, photos and decisions: what was said to be kept outlives a kill and a loss
of power, and what is there can always be read. `tests/faults/run --full` kills far more often."""

from __future__ import annotations

import pytest
from file_tries import KINDS, READ, card, kills
from files_until_killed import cart, checks, pairing
from fuzzing import CART

from logger import calibration_book as book

KEEP = {"pairing": pairing, "cart": cart, "checks": checks}


@pytest.mark.parametrize("what", KINDS)
def test_killed_at_random_it_has_all_that_was_kept(what, tmp_path):
    tried, wrong = kills(what, tmp_path / what, 6)
    assert (tried, wrong) == (6, [])


@pytest.mark.parametrize("what", KEEP)
def test_when_unsynced_writes_are_lost_it_has_all_that_was_kept(what, tmp_path):
    (tmp_path / "card").mkdir()
    (tmp_path / "card" / "cart.toml").write_text(CART)
    for number in range(3):
        with card(tmp_path / "card") as watched:
            KEEP[what](tmp_path / "card", number)
        for place, image in enumerate([*watched.images, watched.image()]):
            laid = tmp_path / f"image-{number}-{place}"
            laid.mkdir()
            for name, content in image.items():
                (laid / name).write_bytes(content)
            found = READ[what](laid)
            assert found >= set(range(number))
        assert number in found


def test_a_line_cut_off_by_a_loss_of_power_spoils_no_other(tmp_path):
    checks(tmp_path, 0)
    log = book.log_of(tmp_path / "cart.toml")
    whole = log.read_bytes()
    for end in range(1, len(whole)):
        log.write_bytes(whole + whole[:end])
        assert READ["checks"](tmp_path) == {0}
    checks(tmp_path, 1)
    assert READ["checks"](tmp_path) == {0, 1}
