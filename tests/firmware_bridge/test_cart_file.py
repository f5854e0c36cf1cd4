"""The cart file: what it may say, and one clear line for everything else."""

from __future__ import annotations

import dataclasses
import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firmware_bridge.cart import CartError, load_cart
from firmware_bridge.clock import Clock
from firmware_bridge.sources import Wires, build_sources

GOOD = """
[cart]
id = "cart-1"
altitude_m = 250

[board]
port = "/dev/ttyACM0"
baud = 115200

[channel.scale]
source = "board"
field = "w"
unit = "g"
points = [[0, 0.0], [420000, 2000.0]]

[channel.low_side]
source = "board"
field = "lo"
unit = "kPa"
points = [[102, 0.0], [921, 3447.4]]

[channel.high_side]
source = "ads1115"
input = "A0"
supply_input = "A3"
points = [[100000, 0.0], [900000, 3447.4]]

[channel.vent_temp]
source = "board"
field = "t1"

[channel.ambient_temp]
source = "onewire"
probe = "28-0316a2794bff"
unit = "degC"

[scale]
class = "III"
e_g = 1
max_g = 15000

[technician]
close_lag_s = 2.0

[valve]
close_lag_s = 0.1

[mqtt]
host = "localhost"
port = 1883
password_file = "secret"

[limits]
high_side_kpa = 2900
hold_leak_pa_per_s = 0.5
"""


@pytest.fixture
def write(tmp_path: Path):
    def write(text: str | bytes) -> Path:
        path = tmp_path / "cart.toml"
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        return path

    return write


def test_a_whole_cart(write):
    path = write(GOOD)
    cart = load_cart(path)
    assert (cart.id, cart.altitude_m, cart.board.port, cart.close_lag_s) == ("cart-1", 250.0, "/dev/ttyACM0", 2.0)
    assert (cart.scale.accuracy_class, cart.scale.e_g, cart.scale.max_g) == ("III", 1.0, 15000.0)
    assert (cart.mqtt.host, cart.mqtt.password_file) == ("localhost", str(path.parent / "secret"))
    assert cart.limits == {"high_side_kpa": 2900.0, "hold_leak_pa_per_s": 0.5}
    assert cart.channels["scale"].calibration.value(210000) == pytest.approx(1000.0)
    assert cart.channels["vent_temp"].calibration.value(16 * 25) == 25.0
    assert cart.channels["ambient_temp"].unit == "°C"
    assert (cart.channels["high_side"].code_min, cart.channels["high_side"].code_max) == (50_000, 950_000)


def test_what_is_left_out_has_its_default(write):
    cart = load_cart(
        write('[cart]\nid = "c"\n[channel.scale]\nsource = "hx711"\ndout_pin = 5\nsck_pin = 6\npoints = [[0,0],[9,9]]')
    )
    assert (cart.board, cart.mqtt, cart.valve, cart.scale, cart.limits, cart.close_lag_s) == (None,) * 4 + ({}, 1.5)
    assert cart.channels["scale"].options == {"dout_pin": 5, "sck_pin": 6, "gain": 128}
    assert not cart.http.token_to_read


HX711 = 'source = "hx711"\ndout_pin = 5\nsck_pin = 5'
FAULTS = [
    ('field = "w"', 'feild = "w"', r"\[channel.scale\] field is missing: is 'feild' meant"),
    ("altitude_m", "altitude", r"\[cart\] unknown key 'altitude', did you mean 'altitude_m'"),
    ("[mqtt]", "[mqqt]", "unknown key 'mqqt', did you mean 'mqtt'"),
    ("channel.low_side", "channel.lowside", "there is no 'lowside', did you mean 'low_side'"),
    ("high_side_kpa =", "high_side_kPa =", "there is no limit 'high_side_kPa', did you mean 'high_side_kpa'"),
    ('unit = "kPa"', 'unit = "psi"', r'\[channel.low_side\] unit = "psi" is not .* write unit = "kPa"'),
    ('unit = "g"', "unit = 1", r"\[channel.scale\] unit = 1 is not a text"),
    ("points = [[0, 0.0], [420000, 2000.0]]", "", r"\[channel.scale\] points is missing"),
    ("[420000, 2000.0]]", "]", r"\[channel.scale\] points: 1 point given, two or more"),
    ("[420000, 2000.0]", "[420000, nan]", r"\[channel.scale\] points: .*not finite"),
    ("[921, 3447.4]", "[921, -3447.4]", r"\[channel.low_side\] points run backwards"),
    ("[921, 3447.4]", "[102, 3447.4]", r"\[channel.low_side\] points: all codes are 102"),
    ('field = "lo"', 'field = "w"', r"\[channel.low_side\] hangs where \[channel.scale\] hangs already: board field w"),
    ('field = "lo"', 'field = "low"', r"field = 'low' is not one of .*, did you mean 'lo'"),
    ('source = "board"', 'source = "bord"', "source = 'bord' is not one of .*, did you mean 'board'"),
    ('[board]\nport = "/dev/ttyACM0"\nbaud = 115200', "", 'source = "board" needs a .board. with its port'),
    ("baud = 115200", 'baud = "fast"', r"\[board\] baud = 'fast' is not a whole number from 1200"),
    ("baud = 115200", "baud = true", r"\[board\] baud = True is not a whole number"),
    ("port = 1883", "port = 99999", r"\[mqtt\] port = 99999 is not a whole number from 1 to 65535"),
    ('id = "cart-1"', 'id = "a/b"', r"\[cart\] id = 'a/b': use letters"),
    ('id = "cart-1"', "", r"\[cart\] id is missing"),
    ("[cart]", "[wagon]", r"\[cart\] is missing"),
    ("[cart]", "cart = 3\n[board2]", r"cart = 3 is not a table"),
    ("channel.scale", "channel.barometer", r"\[channel.barometer\] unit = \"g\" is not"),
    ('class = "III"', 'class = "IV"', r"\[scale\] class = 'IV' is not one of II, III, IIII"),
    ("close_lag_s = 2.0", "close_lag_s = -1", r"\[technician\] close_lag_s = -1 is not a number from 0 to 60"),
    ('probe = "28-0316a2794bff"', 'probe = "10-000"', r"\[channel.ambient_temp\] probe = \"10-000\" is no DS18B20"),
    ('supply_input = "A3"', 'supply_input = "A0"', "needs another supply_input"),
    ('supply_input = "A3"', "gain = 2", r"\[channel.high_side\] unknown key for source 'ads1115': 'gain'"),
    ('supply_input = "A3"', "range_v = 5", "range_v = 5 is not one of 6.144"),
    ('supply_input = "A3"', "code_min = 9\ncode_max = 9", "code_min = 9 is not below code_max = 9"),
    ('source = "board"\nfield = "w"', HX711, "dout_pin and sck_pin are both 5"),
    ("[cart]", "[cart", "not TOML: .*line"),
]


@pytest.mark.parametrize(("old", "new", "reason"), FAULTS)
def test_every_fault_gets_one_line(write, old: str, new: str, reason: str):
    assert old in GOOD
    with pytest.raises(CartError, match=reason) as caught:
        load_cart(write(GOOD.replace(old, new, 1)))
    assert "cart.toml: " in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_cart_without_a_scale_is_refused(write):
    without = GOOD.replace("[channel.scale]", "[channel.humidity]").replace('unit = "g"\n', "")
    with pytest.raises(CartError, match=r"\[channel.scale\] is missing"):
        load_cart(write(without))


def test_a_valve_needs_a_board(write):
    text = '[cart]\nid = "c"\n[valve]\n[channel.scale]\nsource = "virtual"\npoints = [[0,0],[9,9]]'
    with pytest.raises(CartError, match=r"\[valve\] needs a \[board\]"):
        load_cart(write(text))


def test_a_file_that_cannot_be_read(write, tmp_path: Path):
    with pytest.raises(CartError, match="none.toml: cannot be read: No such file"):
        load_cart(tmp_path / "none.toml")
    with pytest.raises(CartError, match="not UTF-8 text at byte 9"):
        load_cart(write(b"[cart]\n# \xff"))


@given(st.data())
def test_no_damage_gives_anything_but_a_cart_or_one_line(tmp_path_factory, data: st.DataObject):
    path = tmp_path_factory.mktemp("damaged") / "cart.toml"
    lines = GOOD.splitlines()
    at = data.draw(st.integers(0, len(lines) - 1))
    lines[at] = data.draw(
        st.sampled_from(["", "x = 1", "[x]", "points = 3", "points = [[]]", "source = []", "= ", lines[at] * 2])
    )
    path.write_text("\n".join(lines), "utf-8")
    try:
        cart = load_cart(path)
    except CartError as error:
        assert "\n" not in str(error)
    else:
        assert cart.id == "cart-1"


def test_each_device_becomes_a_source(write):
    more = """
[channel.vacuum]
source = "ads1115"
input = "A1"
points = [[0, 0.0], [20000, 5000.0]]
[channel.barometer]
source = "ads1115"
address = 0x49
input = "A1"
points = [[0, 50.0], [20000, 110.0]]
[channel.container_temp]
source = "onewire"
probe = "28-0316a2794b00"
"""
    sources = build_sources(load_cart(write(GOOD + more)), Clock(), Wires())
    assert [(source.name, source.channels) for source in sources] == [
        ("board", ("scale", "low_side", "vent_temp")),
        ("ads1115-1-48", ("high_side", "vacuum")),
        ("onewire /sys/bus/w1/devices", ("ambient_temp", "container_temp")),
        ("ads1115-1-49", ("barometer",)),
    ]


def test_a_virtual_channel_has_no_device(write):
    cart = load_cart(write(GOOD))
    scale = dataclasses.replace(cart.channels["scale"], source="virtual", field="")
    with pytest.raises(CartError, match="no such device on a real cart"):
        build_sources(dataclasses.replace(cart, channels={"scale": scale}), Clock())


def test_the_shops_own_words_are_read_by_stage(tmp_path):
    path = tmp_path / "cart.toml"
    path.write_text(GOOD + '\n[reminders]\ncharging = "Door   shut."\nrefill_before_repair = "Rule 12."\n')
    assert load_cart(path).reminders == {"charging": "Door shut.", "refill_before_repair": "Rule 12."}
    for line, says in (
        ('chargeing = "x"', "there is no stage 'chargeing', did you mean 'charging'"),
        ("charging = 3", "charging = 3 is not a text in quotes"),
        (f'charging = "{"x" * 301}"', "charging: 301 characters: write 300 at most"),
    ):
        path.write_text(f"{GOOD}\n[reminders]\n{line}\n")
        with pytest.raises(CartError, match=re.escape(says)):
            load_cart(path)
