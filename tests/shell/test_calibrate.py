"""The guided calibration and the checks of a scale, with the real driver on an emulated board's serial port."""

from __future__ import annotations

import json

import numpy as np
import pytest

from firmware_bridge.board import BoardSource
from firmware_bridge.calibration import CalibrationError
from firmware_bridge.cart import load_cart
from firmware_bridge.clock import Clock
from firmware_bridge.virtual.board_emulator import BoardEmulator
from logger import calibration_book as book
from logger.calibration_session import CalibrationSession, the_source_of
from logger.steady import UnsteadyError

CODE_AT_ZERO, CODES_A_GRAM = 8_400.0, 210.0

CART = """\
# our cart
[cart]
id = "cart-1"

[board]
port = "/dev/ttyACM0"   # by its stable name

[channel.scale]
source = "board"
field = "w"
unit = "g"
points = [[0, 0.0], [400000, 2000.0]]  # as it came

[scale]
class = "III"
e_g = 1
max_g = 10000
"""


class Platform:
    """What a person puts on an emulated scale, and what the terminal asked and said."""

    def __init__(self, answers: list[tuple[str, float | None]]):
        self.load_g, self.curve, self.said = 0.0, lambda g: CODE_AT_ZERO + CODES_A_GRAM * g, []
        self._answers = answers
        self._noise = np.random.default_rng(3)
        self.shaking = 8.0

    def code(self, _field: str) -> int:
        return round(self.curve(self.load_g) + self._noise.normal(0, self.shaking))

    def ask(self, prompt: str) -> str:
        self.said.append(prompt)
        text, load = self._answers.pop(0)
        self.load_g = self.load_g if load is None else load
        return text


@pytest.fixture
def run(tmp_path):
    """run(platform) → a CalibrationSession on a board that senses that platform; all at fifty times real speed."""
    boards = []

    def make(platform: Platform) -> CalibrationSession:
        clock = Clock(50.0)
        board = BoardEmulator(platform.code, {"w": 10.0}, clock)
        board.start()
        cart_file = tmp_path / "cart.toml"
        if not cart_file.exists():
            cart_file.write_text(CART)
        cart = load_cart(cart_file)
        source = BoardSource(board.port, cart.channels, clock)
        source.open()
        boards.append((source, board))
        session = CalibrationSession(
            cart_file, cart, "scale", source, clock, platform.said.append, platform.ask, sleep=lambda _s: None
        )
        return session

    yield make
    for source, board in boards:
        source.close()
        board.stop()


GOOD = [("", 0.0), ("2 kg", 2000.0), ("banana", 5000.0), ("5 kg", 5000.0), ("", None), ("yes", None)]


def test_known_masses_become_points_and_the_file_keeps_its_comments(run, tmp_path):
    assert run(Platform(list(GOOD))).calibrate() == 0
    text = (tmp_path / "cart.toml").read_text()
    assert "# our cart" in text and "# by its stable name" in text
    line = load_cart(tmp_path / "cart.toml").channels["scale"].calibration
    assert line.slope == pytest.approx(1 / CODES_A_GRAM, rel=1e-4)
    assert [value for _, value in line.points] == [0.0, 2000.0, 5000.0]
    (kept,) = book.noted(tmp_path / "cart.toml", "calibration", "scale")
    assert len(kept["residuals"]) == 3 and max(map(abs, kept["residuals"])) < 0.5


def test_nonsense_is_answered_and_asked_again(run):
    platform = Platform(list(GOOD))
    run(platform).calibrate()
    assert any("banana" in line and "write" in line for line in platform.said)


def test_nothing_changes_without_a_yes(run, tmp_path):
    assert run(Platform([*GOOD[:-1], ("no", None)])).calibrate() == 0
    assert (tmp_path / "cart.toml").read_text() == CART


def bent(grams: float) -> float:
    return CODE_AT_ZERO + CODES_A_GRAM * (grams - 40 * (grams > 3000))


def backwards(grams: float) -> float:
    return CODE_AT_ZERO - CODES_A_GRAM * grams


@pytest.mark.parametrize(
    ("curve", "answers", "why"),
    [
        (bent, GOOD, "not a straight line"),
        (backwards, GOOD, "swap the sensor's two signal wires"),
        (None, [("", 0.0), ("", None)], "too few"),
        (None, [("", 0.0), ("2 kg", 0.0), ("", None)], "no more than its own noise"),
        (None, [("", 0.0), ("2 kg", 5000.0), ("5 kg", 2000.0), ("", None)], "exchanged"),
    ],
)
def test_a_bad_set_changes_nothing(run, tmp_path, curve, answers, why):
    platform = Platform(list(answers))
    platform.curve = curve or platform.curve
    with pytest.raises(CalibrationError, match=why):
        run(platform).calibrate()
    assert (tmp_path / "cart.toml").read_text() == CART
    assert not book.log_of(tmp_path / "cart.toml").exists()


def test_a_platform_that_is_never_still_is_refused(run):
    platform = Platform([("", 0.0)])
    steps = iter(range(1, 1_000_000))
    platform.curve = lambda _g: CODE_AT_ZERO + 400 * next(steps)
    with pytest.raises(UnsteadyError, match="come to rest"):
        run(platform).calibrate()


def test_a_check_weight_is_judged_and_its_history_kept(run, tmp_path):
    true = load_cart_with(tmp_path, CODES_A_GRAM)
    good = Platform([("", 0.0), ("", 2000.0)])
    assert run(good).check_weight("2 kg") == 0
    heavy = Platform([("", 0.0), ("", 2003.0)])
    assert run(heavy).check_weight("2 kg") == 1
    kept = book.noted(true, "check-weight", "scale")
    assert [entry["outcome"] for entry in kept] == ["pass", "fail"]
    assert any("calibrate before the next charge" in line for line in heavy.said)


def load_cart_with(tmp_path, codes_a_gram: float):
    cart_file = tmp_path / "cart.toml"
    cart_file.write_text(
        CART.replace("[[0, 0.0], [400000, 2000.0]]", f"[[0, 0.0], [{codes_a_gram * 2000:.0f}, 2000.0]]")
    )
    return cart_file


def test_a_load_that_reads_differently_at_the_corner(run, tmp_path):
    load_cart_with(tmp_path, CODES_A_GRAM)
    level = Platform([("", 0.0)] + [("", 5000.0)] * 5)
    assert run(level).corners() == 0
    tilted = Platform([("", 0.0), ("", 5000.0), ("", 5000.0), ("", 5009.0), ("", 5000.0), ("", 5000.0)])
    assert run(tilted).corners() == 1
    assert any("'right'" in line for line in tilted.said)


def test_an_empty_platform_is_watched(run, tmp_path):
    load_cart_with(tmp_path, CODES_A_GRAM)
    platform = Platform([("", 0.0)])
    assert run(platform).watch(1) == 0
    assert any("time constant" in line for line in platform.said)
    assert any("Temperature: not judged" in line for line in platform.said)


def test_an_unknown_channel_is_named_with_those_that_are(run, tmp_path):
    with pytest.raises(ValueError, match="it has scale"):
        the_source_of("vacuum", [StubSource()], tmp_path / "cart.toml")


class StubSource:
    channels = ("scale",)


def test_a_spoiled_log_is_named_by_its_line(tmp_path):
    cart_file = tmp_path / "cart.toml"
    book.note(cart_file, {"what": "check-weight", "channel": "scale"})
    with book.log_of(cart_file).open("a") as log:
        log.write(json.dumps({"what": "x"})[:5] + "\n")
    with pytest.raises(ValueError, match="line 2"):
        book.noted(cart_file, "check-weight", "scale")
