"""The look at a cart at rest: real drivers on an emulated board, and the judgement of what they gave."""

from __future__ import annotations

import contextlib
import socket
import threading
from datetime import UTC, datetime

import numpy as np
import pytest

from firmware_bridge.blocks import INVALID_CODE
from firmware_bridge.cart import CartError, MqttConfig, load_cart
from firmware_bridge.clock import Clock
from firmware_bridge.sources import build_sources
from firmware_bridge.virtual.board_emulator import BoardEmulator
from logger.cart_check import Look, check_broker, check_clock, check_disk, check_sources, judge
from logger.cart_tools import check_tools
from logger.cli import main
from logger.record.scale_checks import add_scale_checks
from logger.record.store import Store
from logger.wallclock import WallClock

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
        (live(20_000, 20), "look", "not within 20 g of zero"),
        (live(2000, 20, 45) + [2**23 - 1] * 5, "bad", "5 of 50 readings at the end of the converter's range"),
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


def channel(tmp_path, text: str):
    path = tmp_path / "cart.toml"
    path.write_text(CART.format(port="/dev/null") + text)
    return load_cart(path).channels


def test_open_ports_that_do_not_read_zero_are_worth_a_look(scale, tmp_path):
    low_side = channel(tmp_path, "")["low_side"]
    codes = np.full(25, 110, np.int32)
    codes[::5] += 1
    assert judge(low_side, Look(5.0, codes - 102.0, codes), "").outcome == "good"
    line = judge(low_side, Look(5.0, codes - 60.0, codes), "")
    assert line.outcome == "look" and "open the port to air" in line.text


def test_a_barometer_is_held_against_the_altitude(tmp_path):
    """ISO 2533: 89.87 kPa at 1000 m, 101.325 kPa at sea level."""
    barometer = channel(tmp_path, '[channel.barometer]\nsource = "virtual"\npoints = [[0, 0.0], [1000, 100.0]]\n')
    codes = np.array([898, 899, 899, 900] * 12, np.int32)[:50]
    look = Look(5.0, codes / 10.0, codes)
    assert judge(barometer["barometer"], look, "", 1000.0).outcome == "good"
    line = judge(barometer["barometer"], look, "", 0.0)
    assert line.outcome == "look" and "101 kPa is usual at 0 m" in line.text


def test_a_converter_at_its_end_is_bad(tmp_path):
    text = '[channel.vacuum]\nsource = "ads1115"\ninput = "A0"\nrate_hz = 5\npoints = [[0, 0.0], [30000, 100000.0]]\n'
    codes = np.full(25, 2**15 - 1, np.int32)
    line = judge(channel(tmp_path, text)["vacuum"], Look(5.0, codes * 3.0, codes), "")
    assert line.outcome == "bad" and "25 of 25 readings at the end" in line.text


def test_the_clock_has_its_line():
    unknown = WallClock(keeps_time=lambda: False, synchronised=lambda: False)
    assert check_clock(unknown).outcome == "look"
    assert check_clock(WallClock(keeps_time=lambda: True)).outcome == "good"


def test_something_else_on_the_brokers_port_is_not_taken_for_one():
    """It takes the connection and answers what a mail server would (RFC 5321, 4.2)."""
    server = socket.create_server(("127.0.0.1", 0))

    def greet():
        for _ in range(2):
            connection, _ = server.accept()
            with connection, contextlib.suppress(OSError):
                connection.sendall(b"220 mail ready\r\n")

    thread = threading.Thread(target=greet)
    thread.start()
    line = check_broker(MqttConfig("127.0.0.1", server.getsockname()[1], None, None, False, None))
    thread.join(10)
    server.close()
    assert line.outcome == "look" and "speaks no MQTT" in line.text


def test_disk_and_broker_have_their_line(tmp_path, mosquitto):
    assert "MB free" in check_disk(tmp_path / "not" / "yet").text
    assert check_broker(None).outcome == "good"
    there = MqttConfig("127.0.0.1", mosquitto.port, None, None, False, None)
    assert check_broker(there).outcome == "good"
    mosquitto.stop()
    assert check_broker(there).outcome == "look"


SCALE_CLASS = '[scale]\nclass = "III"\ne_g = 1\nmax_g = 10000\n[limits]\nscale_check_days = 14\n'


def test_the_tools_say_when_they_were_checked(tmp_path):
    """A check kept beside the cart file, a newer one in the store; points of unknown date are named."""
    path, data = tmp_path / "cart.toml", tmp_path / "tarebook.db"
    path.write_text(CART.format(port="/dev/null") + SCALE_CLASS)
    cart, wall = load_cart(path), WallClock(now=lambda: datetime(2026, 3, 1, 8, tzinfo=UTC))
    weight, book = check_tools(cart, path, data, wall)
    assert weight.outcome == "look" and "no check with a weight is on record: set a known mass" in weight.text
    assert book.outcome == "look" and "no date known for scale, low_side" in book.text
    log = '{"at_utc": "2026-01-02T08:00:00+00:00", "what": "%s", "channel": "scale"%s}\n'
    kept = ', "nominal_g": 2000, "shown_g": 2000.6, "outcome": "pass"'
    path.with_suffix(".checks.jsonl").write_text(log % ("calibration", "") + log % ("check-weight", kept))
    weight, book = check_tools(cart, path, data, wall)
    assert weight.outcome == "look" and "off by +0.6 g, 58 days ago; due after 14 days: set" in weight.text
    assert book.text.startswith("scale 2026-01-02; no date known for low_side")
    store = Store.open(data)
    entry = {"what": "check-weight", "nominal_g": 2000.0, "shown_g": 1999.5, "outcome": "pass"}
    add_scale_checks(store, "cart-1", [{**entry, "at_utc": "2026-02-20T08:00:00Z"}])
    store.close()
    (weight, _) = check_tools(cart, path, data, wall)
    assert weight.outcome == "good" and "off by -0.5 g, 9 days ago" in weight.text


def test_a_check_that_is_good_for_no_day_is_refused(tmp_path):
    (tmp_path / "cart.toml").write_text(CART.format(port="/dev/null") + "[limits]\nscale_check_days = 0\n")
    with pytest.raises(CartError, match="scale_check_days: give at least one day"):
        load_cart(tmp_path / "cart.toml")
