"""Pairing: a code once, a token for good, and only its hash on the card."""

from __future__ import annotations

import stat

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.pairing import Pairing, PairingError


class Time:
    def __init__(self):
        self.s = 0.0

    def __call__(self):
        return self.s


@pytest.fixture
def time():
    return Time()


@pytest.fixture
def pairing(tmp_path, time):
    return Pairing(tmp_path / "paired.json", time)


def wrong(code):
    return f"{(int(code) + 1) % 1_000_000:06d}"


def test_the_code_shown_gives_a_token_once(pairing):
    code = pairing.code()
    token = pairing.exchange(f" {code[:3]} {code[3:]}", "phone")
    assert len(bytes.fromhex(token)) == 32
    assert pairing.allows(token)
    assert pairing.code() != code or pairing.exchange(code) != token


def test_tokens_outlive_a_restart_and_are_not_on_the_card(pairing, tmp_path):
    token = pairing.exchange(pairing.code(), "phone")
    file = tmp_path / "paired.json"
    assert token not in file.read_text() and stat.S_IMODE(file.stat().st_mode) == 0o600
    assert Pairing(file).allows(token)


def test_revoked_device_is_out_at_once_and_after_a_restart(pairing, tmp_path):
    first, second = (pairing.exchange(pairing.code(), name) for name in ("one", "two"))
    device = next(d["device_id"] for d in pairing.devices() if d["name"] == "one")
    assert pairing.revoke(device) and not pairing.revoke(device)
    for each in (pairing, Pairing(tmp_path / "paired.json")):
        assert not each.allows(first) and each.allows(second)


def test_five_wrong_codes_close_the_door_even_to_the_right_one(pairing, time):
    code = pairing.code()
    for _ in range(5):
        with pytest.raises(PairingError):
            pairing.exchange(wrong(code))
    with pytest.raises(PairingError) as refused:
        pairing.exchange(pairing.code())
    assert refused.value.retry_after_s > 0
    time.s += 60
    assert pairing.allows(pairing.exchange(pairing.code()))


def test_guessing_changes_the_code(pairing, time):
    codes = set()
    for _ in range(4):
        codes.add(pairing.code())
        for _ in range(5):
            with pytest.raises(PairingError):
                pairing.exchange("x")
        time.s += 61
    assert len(codes) > 1


def test_a_code_ages(pairing, time):
    old = pairing.code()
    time.s += 601
    if pairing.code() != old:
        with pytest.raises(PairingError):
            pairing.exchange(old)


@given(st.text(max_size=80))
def test_nothing_else_is_a_token(text):
    import tempfile
    from pathlib import Path

    with tempfile.TemporaryDirectory() as folder:
        pairing = Pairing(Path(folder) / "paired.json")
        token = pairing.exchange(pairing.code())
        assert pairing.allows(text) == (text == token)
        assert not pairing.allows(None)


@pytest.mark.parametrize("content", ["", "{", "[]", '{"devices": 3}', '{"devices": {"a": {}}}', "\x00"])
def test_a_damaged_file_lets_nobody_in(tmp_path, content):
    file = tmp_path / "paired.json"
    file.write_text(content)
    pairing = Pairing(file)
    assert pairing.devices() == [] and not pairing.allows("")
    assert pairing.allows(pairing.exchange(pairing.code()))
