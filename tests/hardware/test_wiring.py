"""The wiring diagrams: what is committed is what the text draws, and the text agrees with the firmware."""

from __future__ import annotations

import importlib.util
import re
import sys
import tomllib
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest

HARDWARE = Path(__file__).resolve().parents[2] / "hardware"
WIRING = HARDWARE / "wiring"
BUILDS = ("board", "header")


@pytest.fixture(scope="module")
def draw():
    spec = importlib.util.spec_from_file_location("wiring_draw", WIRING / "draw.py")
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


@pytest.mark.parametrize("build", BUILDS)
def test_the_committed_picture_is_what_its_text_draws(draw, build):
    drawn = draw.draw(draw.read_diagram(WIRING / f"{build}.toml"))
    assert (WIRING / f"{build}.svg").read_bytes() == drawn, f"run: python draw.py {build}.toml {build}.svg"
    assert ET.fromstring(drawn).tag.endswith("svg")


@pytest.mark.parametrize("build", BUILDS)
def test_every_signal_pin_is_wired_once(draw, build):
    diagram = draw.read_diagram(WIRING / f"{build}.toml")
    ends = [wire[end] for wire in diagram.wires for end in ("from", "to")]
    assert len(ends) == len(set(ends))
    pins = {f"{box.id}.{pin}" for box in diagram.boxes.values() for pin in box.left + box.right if " = " not in pin}
    assert pins - set(ends) <= {"board.PB5 loop mark"}


def test_the_board_diagram_names_the_firmwares_pins():
    pins = (HARDWARE / "board" / "target" / "pins.h").read_text()
    board = next(box for box in tomllib.loads((WIRING / "board.toml").read_text())["box"] if box["id"] == "board")
    drawn = {pin.split()[0] for pin in board["left"] + board["right"] if re.match(r"P[BD]\d", pin)}
    assert drawn == set(re.findall(r"= (P[BD]\d)", pins))


BOX = '[[box]]\nid = "{id}"\ntitle = "T"\ncolumn = {column}\nrow = {row}\nleft = ["in"]\nright = ["out"]\n'


@pytest.mark.parametrize(
    ("text", "complaint"),
    [
        (BOX.format(id="a", column=0, row=0) + BOX.format(id="b", column=0, row=1), "'b' lies over 'a'"),
        (BOX.format(id="a", column=0, row=0) + '[[wire]]\nfrom = "a.out"\nto = "c.in"\n', "no box 'c'"),
        (BOX.format(id="a", column=0, row=0) + '[[wire]]\nfrom = "a.out"\nto = "a.up"\n', "no pin 'up'"),
        (BOX.format(id="a", column=0, row=0) + '[[wire]]\nfrom = "a.out"\nto = "a.in"\n', "further right"),
        (BOX.format(id="a", column=0, row=0).replace('"in"', '"in = 7 V"'), "no rail '7 V'"),
    ],
)
def test_a_wrong_text_says_what_to_mend(draw, tmp_path, text, complaint):
    path = tmp_path / "wrong.toml"
    path.write_text(f'title = "T"\ncolumns = [0, 300]\n{text}')
    with pytest.raises(draw.DiagramError, match=complaint):
        draw.draw(draw.read_diagram(path))
