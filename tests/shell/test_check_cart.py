"""The look at a cart at rest: real drivers on an emulated board, and the judgement of what they gave."""

from __future__ import annotations

import numpy as np
import pytest

from firmware_bridge.blocks import INVALID_CODE
from firmware_bridge.cart import MqttConfig, load_cart
from firmware_bridge.clock import Clock
from firmware_bridge.sources import build_sources
from firmware_bridge.virtual.board_emulator import BoardEmulator
from logger.cart_check import Look, check_broker, check_disk, check_sources, judge
from logger.cli import main

CART = """\
[cart]
id = "cart-1"
[board]
port = "{port}"
[channel.scale]
source = "board"
field = "w"
points = [[0, 0.0], [420000, 2000.0]]
[channel.low_side]
source = "board"
field = "lo"
points = [[102, 0.0], [921, 3447.4]]
rate_hz = 5
"""


@pytest.fixture
def cart_on(tmp_path):
    """cart_on(codes) → the file of a cart whose emulated board gives these codes, a little noise on each."""
    boards, noise = [], np.random.default_rng(1)

    def make(codes: dict[str, float], clock: Clock, jitter: float = 3.0):
        rates = {"w": 10.0, "lo": 5.0}
        board = BoardEmulator(lambda field: round(codes[field] + noise.normal(0, jitter)), rates, clock)
        board.start()
        boards.append(board)
        path = tmp_path / "cart.toml"
        path.write_text(CART.format(port=board.port))
        return path

    yield make
    for board in boards:
        board.stop()


def look_at(path, clock: Clock) -> dict[str, str]:
    cart = load_cart(path)
    return {line.what: line for line in check_sources(build_sources(cart, clock), cart, clock, 5.0)}


def test_a_cart_at_rest_is_good(cart_on):
    clock = Clock(10.0)
    lines = look_at(cart_on({"w": 2000, "lo": 102}, clock, jitter=0.6), clock)
    assert (lines["scale"].outcome, lines["low_side"].outcome) == ("good", "good")
    assert "readings a second" in lines["scale"].text


def test_a_cart_without_its_board_says_so_for_every_channel(tmp_path, capsys):
    path = tmp_path / "cart.toml"
    path.write_text(CART.format(port=tmp_path / "no-port"))
    assert main(["check-cart", "--cart", str(path), "--data", str(tmp_path), "--seconds", "1"]) == 1
    out = capsys.readouterr().out.splitlines()
    assert [line.split()[:2] for line in out[:2]] == [["bad", "scale"], ["bad", "low_side"]]
    assert "no-port" in out[0]


@pytest.fixture
def scale(tmp_path):
    path = tmp_path / "cart.toml"
    path.write_text(CART.format(port="/dev/null"))
    return load_cart(path).channels["scale"]


def look(codes: list[int], seconds: float = 5.0) -> Look:
    code = np.array(codes, np.int32)
    return Look(seconds, np.where(code == INVALID_CODE, np.nan, code / 210.0), code)


def live(mean: float, sd: float, n: int = 50) -> list[int]:
    return np.random.default_rng(2).normal(mean, sd, n).round().astype(int).tolist()


@pytest.mark.parametrize(
    ("codes", "outcome", "says"),
    [
        (live(2000, 20), "good", "different codes"),
        (live(2000, 20, 5), "look", "mend rate_hz"),
        (live(2000, 3000), "look", "restless"),
        (live(-2_000_000, 20), "bad", "not between"),
        ([4711] * 50, "bad", "never changes"),
        ([INVALID_CODE] * 50, "bad", "nothing valid"),
        ([], "bad", "nothing valid"),
        (live(2000, 20, 45) + [INVALID_CODE] * 5, "look", "5 of 50 readings invalid"),
    ],
)
def test_what_a_scale_gave_is_judged(scale, codes, outcome, says):
    line = judge(scale, look(codes), "")
    assert line.outcome == outcome and says in line.text


def test_disk_and_broker_have_their_line(tmp_path, mosquitto):
    assert "MB free" in check_disk(tmp_path / "not" / "yet").text
    assert check_broker(None).outcome == "good"
    there = MqttConfig("127.0.0.1", mosquitto.port, None, None, False, None)
    assert check_broker(there).outcome == "good"
    mosquitto.stop()
    assert check_broker(there).outcome == "look"
