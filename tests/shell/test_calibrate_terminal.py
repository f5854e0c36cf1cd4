"""`tarebook calibrate scale` as a person meets it: its own process on a terminal, the driver on an emulated board."""

from __future__ import annotations

import os
import pty
import re
import select
import subprocess
import sys
import time

import numpy as np
import pytest
from bench_cart import BenchCart

from firmware_bridge.cart import load_cart
from logger import calibration_book as book

COMMAND = "import sys; from logger.cli import main; sys.exit(main())"
PATIENCE_S = 60.0
CODES_A_GRAM = 208.0


class Terminal:
    """A process on a pseudo-terminal: wait for words, type a line."""

    def __init__(self, *arguments: str):
        self._master, slave = pty.openpty()
        command = [sys.executable, "-c", COMMAND, *arguments]
        self.process = subprocess.Popen(command, stdin=slave, stdout=slave, stderr=slave, close_fds=True)
        os.close(slave)
        self.said = ""
        self._read_to = 0

    def expect(self, words: str) -> None:
        """Wait for words that come after those waited for before."""
        end = time.monotonic() + PATIENCE_S
        while (found := self.said.find(words, self._read_to)) < 0:
            assert time.monotonic() < end and self._more(), f"never said {words!r}: {self.said}"
        self._read_to = found + len(words)

    def type(self, line: str) -> None:
        os.write(self._master, f"{line}\n".encode())

    def end(self) -> int:
        while self._more():
            continue
        return self.process.wait(PATIENCE_S)

    def close(self) -> None:
        if self.process.poll() is None:
            self.process.kill()
        self.process.wait()
        os.close(self._master)

    def _more(self) -> bool:
        """Whether something more was said; a terminal that nobody holds any longer says nothing."""
        try:
            if not select.select([self._master], [], [], PATIENCE_S)[0]:
                return False
            piece = os.read(self._master, 4096)
        except OSError:
            return False
        self.said += piece.decode()
        return bool(piece)


@pytest.fixture
def load(tmp_path):
    """load["g"] rests on the platform of a cart whose points in the file are not right."""
    at, noise = {"g": 0.0, "codes_a_gram": CODES_A_GRAM}, np.random.default_rng(7)
    bench = BenchCart(
        tmp_path / "cart",
        rates_hz={"w": 10.0},
        read_code=lambda field: round(8000 + at["codes_a_gram"] * at["g"] + noise.normal(0, 6)),
    )
    bench.file(more='[scale]\nclass = "III"\ne_g = 1\nmax_g = 20000')
    yield at
    bench.stop()


@pytest.fixture
def terminal(load, tmp_path):
    opened = Terminal("calibrate", "scale", "--cart", str(tmp_path / "cart" / "cart.toml"))
    yield opened
    opened.close()


def test_led_by_words_through_known_masses_to_a_cart_file_and_its_residuals(load, terminal, tmp_path):
    cart_file = tmp_path / "cart" / "cart.toml"
    terminal.expect("clear the platform")
    terminal.type("")
    for mass_g in (2000, 5000):
        terminal.expect("set it down gently in the middle")
        terminal.expect("Its mass")
        load["g"] = mass_g
        terminal.type(f"{mass_g} g")
    terminal.expect("Enter when done")
    terminal.type("")
    terminal.expect("off by")
    terminal.expect("(yes or no)")
    before = cart_file.stat().st_ino
    terminal.type("yes")
    assert terminal.end() == 0
    line = load_cart(cart_file).channels["scale"].calibration
    assert line.slope == pytest.approx(1 / CODES_A_GRAM, rel=2e-4)
    assert [value for _, value in line.points] == [0.0, 2000.0, 5000.0]
    assert cart_file.stat().st_ino != before, "put in place whole, not written over"
    assert sorted(p.name for p in cart_file.parent.iterdir() if "toml" in p.name) == ["cart.toml"]
    (kept,) = book.noted(cart_file, "calibration", "scale")
    assert len(kept["residuals"]) == 3 and max(map(abs, kept["residuals"])) < 0.5


def test_a_reversed_set_is_refused_in_one_line_and_nothing_is_changed(load, terminal, tmp_path):
    cart_file = tmp_path / "cart" / "cart.toml"
    before = cart_file.read_bytes()
    load["codes_a_gram"] = -CODES_A_GRAM
    terminal.expect("clear the platform")
    terminal.type("")
    terminal.expect("Its mass")
    load["g"] = 2000
    terminal.type("2 kg")
    terminal.expect("Enter when done")
    terminal.type("")
    assert terminal.end() == 2
    refusals = re.findall(r"^tarebook.*$|^.*reversed.*$", terminal.said, re.MULTILINE)
    assert len(refusals) == 1 and "signal wires" in refusals[0] and "Traceback" not in terminal.said
    assert cart_file.read_bytes() == before and not book.log_of(cart_file).exists()
