"""One-wire probes as the kernel shows them: checksum, power-on value, short, missing probe, slow probe."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from source_rigs import Rig, onewire_rig

from firmware_bridge.onewire import NoReading, PowerOnValue, parse_w1
from firmware_bridge.source import SourceError
from firmware_bridge.virtual.onewire_files import OneWireFiles, dallas_crc, scratchpad


@pytest.fixture
def rig(tmp_path: Path) -> Iterator[Rig]:
    rig = onewire_rig(tmp_path)
    rig.source.open()
    rig.watch_codes(2)
    yield rig
    rig.source.close()


@pytest.mark.parametrize(("celsius", "code"), [(25.0625, 0x0191), (-10.125, 0xFF5E), (-55.0, 0xFC90), (0.0, 0)])
def test_temperatures_of_the_data_sheet(tmp_path: Path, celsius: float, code: int):
    """DS18B20 data sheet (Maxim 19-7487), table "Temperature/Data Relationship"."""
    files = OneWireFiles(tmp_path)
    signed = code - (code & 0x8000) * 2
    files.set_code("28-000000000001", signed)
    text = (tmp_path / "28-000000000001" / "w1_slave").read_text()
    assert text.startswith(f"{code & 0xFF:02x} {code >> 8:02x} ")
    assert parse_w1(text) == signed == celsius * 16


def test_the_checksum_of_the_application_note():
    """Maxim application note 27, the worked example: ROM 02 1C B8 01 00 00 00 has the checksum A2."""
    assert dallas_crc(bytes.fromhex("021cb801000000")) == 0xA2


@given(st.integers(-55 * 16, 125 * 16))
def test_every_code_comes_back(tmp_path_factory: pytest.TempPathFactory, code: int):
    files = OneWireFiles(tmp_path_factory.mktemp("w1"))
    files.set_code("28-000000000001", code)
    assert parse_w1((files.folder / "28-000000000001" / "w1_slave").read_text()) == code
    assert dallas_crc(scratchpad(code)) == 0


@pytest.mark.parametrize("text", ["", "4b 01 : crc=00 YES\n", "\x00" * 40, "t=20000"])
def test_a_file_that_says_nothing(text: str):
    with pytest.raises(NoReading, match="does not answer"):
        parse_w1(text)


def test_the_power_on_value_is_told_from_a_real_85_degrees():
    hot = PowerOnValue()
    assert hot.is_it(1360)
    assert [hot.is_it(code) for code in (400, 1360, 410, 1350, 1360, 1361)] == [False, True, False, False, False, False]


def test_the_power_on_value_is_no_reading(rig: Rig):
    rig.say(1360)
    assert "power-on" in rig.watch_quality("fault").reason
    rig.say(1000)
    rig.watch_quality("good")


def test_a_shorted_wire_is_named(rig: Rig):
    vent = rig.parts["probes"]["vent_temp"]
    rig.parts["files"].short(vent)
    assert "shorted" in rig.watch_quality("fault").reason


def test_a_missing_probe_is_named_by_its_number(rig: Rig):
    rig.kill()
    assert "28-000000000001 is not there" in rig.watch_quality("fault").reason
    assert rig.health("ambient_temp").quality == "good"


def test_a_probe_that_hangs_holds_up_no_other(rig: Rig):
    rig.parts["files"].hang(rig.parts["probes"]["vent_temp"])
    assert "no reading for" in rig.watch_quality("stale").reason
    assert rig.health("ambient_temp").quality == "good"
    rig.watch_codes(3, "ambient_temp")


def test_a_kernel_without_one_wire_is_named(tmp_path: Path):
    rig = onewire_rig(tmp_path)
    for probe in rig.parts["probes"].values():
        rig.parts["files"].unplug(probe)
    rig.parts["files"].folder.rmdir()
    with pytest.raises(SourceError, match="one-wire driver is not loaded"):
        rig.source.open()
