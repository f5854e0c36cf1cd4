"""Pairing: a code once, a token for good, and only its hash on the card."""

from __future__ import annotations

import contextlib
import stat
import threading

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


def test_who_goes_on_guessing_waits_longer_each_time_up_to_an_hour(pairing, time):
    waits = []
    for _ in range(9):
        for _ in range(5):
            with pytest.raises(PairingError):
                pairing.exchange("x")
            time.s += 59
        with pytest.raises(PairingError) as refused:
            pairing.exchange(pairing.code())
        waits.append(refused.value.retry_after_s + 59)
        time.s += refused.value.retry_after_s
    assert waits == [60, 120, 240, 480, 960, 1920, 3600, 3600, 3600]
    assert pairing.allows(pairing.exchange(pairing.code()))
    for _ in range(5):
        with pytest.raises(PairingError):
            pairing.exchange("x")
    with pytest.raises(PairingError) as refused:
        pairing.exchange(pairing.code())
    assert refused.value.retry_after_s == 60, "a right code forgives"


def test_a_code_tried_by_many_at_once_lets_one_in(pairing):
    code, begin, tokens = pairing.code(), threading.Barrier(16), []

    def attempt():
        begin.wait()
        with contextlib.suppress(PairingError):
            tokens.append(pairing.exchange(code))

    threads = [threading.Thread(target=attempt) for _ in range(16)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(tokens) == 1 == len(pairing.devices())


def test_two_processes_that_change_the_list_lose_nothing(tmp_path):
    file = tmp_path / "paired.json"
    ones, begin = [Pairing(file) for _ in range(4)], threading.Barrier(4)

    def pair_three(one):
        begin.wait()
        for _ in range(3):
            one.exchange(one.code())

    threads = [threading.Thread(target=pair_three, args=(one,)) for one in ones]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert all(len(one.devices()) == 12 for one in ones)


def test_last_visits_are_known_and_written_down_once_an_hour(tmp_path, time):
    hours = iter(f"2026-05-04T{hour:02}:00:00.000Z" for hour in range(24))
    file = tmp_path / "paired.json"
    pairing = Pairing(file, time, lambda: next(hours))
    token = pairing.exchange(pairing.code())
    for passed_s, kept_hour in ((0, 1), (1800, 1), (1800, 3)):
        time.s += passed_s
        assert pairing.allows(token)
        assert Pairing(file).devices()[0]["seen_utc"].startswith(f"2026-05-04T{kept_hour:02}")
    assert pairing.devices()[0]["paired_utc"].startswith("2026-05-04T00")


def test_a_full_card_pairs_nobody_and_says_so(pairing, tmp_path):
    (tmp_path / "paired.json.new").mkdir()
    with pytest.raises(PairingError, match="cannot keep it"):
        pairing.exchange(pairing.code())
    assert pairing.devices() == []


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


@pytest.mark.parametrize(
    "content",
    [
        "",
        "{",
        "[]",
        '{"devices": 3}',
        '{"devices": {"a": {}}}',
        "\x00",
        '{"devices": {"a": {"name": "x", "sha256": "é"}}}',
    ],
)
def test_a_damaged_file_lets_nobody_in(tmp_path, content):
    file = tmp_path / "paired.json"
    file.write_text(content)
    pairing = Pairing(file)
    assert pairing.devices() == [] and not pairing.allows("")
    assert pairing.allows(pairing.exchange(pairing.code()))
