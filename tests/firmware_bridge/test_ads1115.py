"""The converter at its registers, behind the real smbus2 too."""

from __future__ import annotations

import errno
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import smbus2
from hypothesis import given
from hypothesis import strategies as st
from source_rigs import ADS_OPTIONS, Rig, ads1115_rig, channel

from firmware_bridge.ads1115 import Ads1115Source
from firmware_bridge.ads1115_registers import CONFIG, CONVERSION, INPUTS, RANGES_V, RATES_SPS, config_word
from firmware_bridge.blocks import INVALID_CODE
from firmware_bridge.clock import Clock
from firmware_bridge.source import SourceError
from firmware_bridge.virtual.ads1115_chip import Ads1115Chip, VirtualI2cBus


@pytest.fixture
def make_rig(tmp_path: Path) -> Iterator[Callable[..., Rig]]:
    rigs = []

    def make(**options: Any) -> Rig:
        rigs.append(ads1115_rig(tmp_path, **options))
        rigs[-1].source.open()
        return rigs[-1]

    yield make
    for rig in rigs:
        rig.source.close()


def test_config_words_of_the_data_sheet():
    """TI SBAS444: reset value 8583h is A0-A1, 2.048 V, 128 SPS, single-shot, comparator off; and fields by hand."""
    assert config_word("A0-A1", 2.048, 128, single_shot=True) == 0x8583
    assert config_word("A0", 4.096, 128, single_shot=True) == 0b1_100_001_1_100_00011
    assert config_word("A3", 6.144, 860, single_shot=False) == 0b0_111_000_0_111_00011


@given(st.sampled_from(list(RANGES_V)), st.floats(-6.5, 6.5))
def test_the_emulated_chip_converts_as_the_data_sheet_has_it(range_v: float, volts: float):
    """Code = volts * 32768 / full scale, clamped at 7FFFh and 8000h."""
    now = [0.0]
    clock = Clock()
    clock.now = lambda: now[0]
    chip = Ads1115Chip({"A0": volts, "A1": 0.0}.__getitem__, clock)
    chip.write(CONFIG, config_word("A0-A1", range_v, 128, single_shot=True))
    assert not chip.read(CONFIG) & 0x8000
    now[0] = 1 / 128
    assert chip.read(CONFIG) & 0x8000
    code = int(np.array(chip.read(CONVERSION), np.uint16).astype(np.int16))
    assert code == max(-32768, min(32767, round(volts * 32768 / range_v)))


@pytest.mark.parametrize("mode", ["single-shot", "continuous"])
@pytest.mark.parametrize("range_v", [6.144, 2.048])
def test_either_mode_and_any_range_read_the_pin(make_rig: Callable[..., Rig], mode: str, range_v: float):
    rig = make_rig(mode=mode, range_v=range_v)
    assert (rig.watch_codes(3) == 1000).all()
    for code in (-5, 32766):
        rig.say(code)
        rig.watch_code(code)


@pytest.mark.parametrize(("volts", "rail"), [(7.0, "beyond"), (-7.0, "beyond")])
def test_a_voltage_beyond_the_range_is_no_reading(make_rig: Callable[..., Rig], volts: float, rail: str):
    rig = make_rig()
    rig.parts["volts"]["A0"] = volts
    rig.watch_code(INVALID_CODE)
    assert rail in rig.health().reason


@pytest.mark.parametrize("mode", ["single-shot", "continuous"])
def test_a_chip_that_lost_its_settings_is_set_up_again(make_rig: Callable[..., Rig], mode: str):
    rig = make_rig(mode=mode, sps=250)
    rig.watch_codes(2)
    chip = rig.parts["chip"]
    plain, resets = chip._finish, [3]

    def lose() -> None:
        if resets[0]:
            resets[0] -= 1
            chip.reset()
        plain()

    chip._finish = lose
    rig.watch(lambda _: rig.source.counters()["chip_resets"] >= 1)
    rig.watch_quality("good")
    assert rig.watch_codes(3)[-1] == 1000


def ratiometric(volts: dict[str, float]) -> Rig:
    clock = Clock()
    bus = VirtualI2cBus({0x48: Ads1115Chip(volts.__getitem__, clock)})
    config = channel(
        "high_side", "ads1115", 20.0, code_min=50_000, code_max=950_000, options=ADS_OPTIONS | {"supply_input": "A3"}
    )
    source = Ads1115Source({"high_side": config}, clock, open_bus=lambda _: bus)
    source.open()
    return Rig(source, clock, "high_side", *[lambda *_: None] * 4)


def test_a_sagging_supply_does_not_move_a_ratiometric_reading():
    """0.5 of the supply is 0.5 of it at 5.0 V and at 4.6 V: half of the span from 0.1 to 0.9 of the supply."""
    volts = {"A0": 2.5, "A3": 5.0}
    rig = ratiometric(volts)
    high = rig.watch_codes(3)
    volts.update(A0=2.3, A3=4.6)
    rig.watch_codes(2)
    low = rig.watch_codes(3)
    np.testing.assert_allclose(np.concatenate([high, low]), 500_000, atol=60)
    rig.source.close()


@pytest.mark.parametrize(
    ("a0", "a3", "reason"),
    [(0.2, 5.0, "code_min"), (4.9, 5.0, "code_max"), (1.0, 0.4, "supply is 0.40 V"), (1.0, 0.0, "supply is 0.00 V")],
)
def test_live_zero_and_supply_faults_are_no_pressure(a0: float, a3: float, reason: str):
    rig = ratiometric({"A0": a0, "A3": a3})
    assert set(rig.watch_codes(2)) == {INVALID_CODE}
    assert reason in rig.health().reason
    rig.source.close()


def test_an_address_where_nothing_answers_is_named():
    clock = Clock()
    source = Ads1115Source(
        {"low_side": channel("low_side", "ads1115", 5.0, options=ADS_OPTIONS | {"address": 0x49})},
        clock,
        open_bus=lambda _: VirtualI2cBus({0x48: Ads1115Chip(lambda _: 0.0, clock)}),
    )
    with pytest.raises(SourceError, match="ADS1115 at 0x49 on I2C bus 1 does not answer"):
        source.open()
    assert "0x49" in source.health()[0].reason


def test_a_machine_without_i2c_is_named():
    source = Ads1115Source(
        {"low_side": channel("low_side", "ads1115", 5.0, options=ADS_OPTIONS | {"bus": 250})}, Clock()
    )
    with pytest.raises(SourceError, match="on I2C bus 250 does not answer"):
        source.open()


def test_one_bad_transfer_is_counted_and_forgotten(make_rig: Callable[..., Rig]):
    rig = make_rig()
    rig.watch_codes(2)
    rig.parts["chip"].present = False
    rig.watch(lambda _: rig.source.counters()["bus_errors"] >= 1)
    rig.parts["chip"].present = True
    assert (rig.watch_codes(2) == 1000).all()
    assert rig.source.counters()["opened"] == 1


def test_through_the_real_smbus2(monkeypatch: pytest.MonkeyPatch):
    """The library's own calls down to the kernel's structures: what the chip gets is what a wire would carry."""
    clock = Clock()
    chip = Ads1115Chip({"A0": -1.25, "A1": 1.25}.__getitem__, clock)
    selected = []

    def ioctl(_fd: int, request: int, argument: Any) -> int:
        if request == smbus2.smbus2.I2C_FUNCS:
            argument.value = int(smbus2.I2cFunc.SMBUS_I2C_BLOCK)
        elif request == smbus2.smbus2.I2C_SLAVE:
            selected.append(argument)
        else:
            assert request == smbus2.smbus2.I2C_SMBUS
            transfer(argument)
        return 0

    def transfer(message: Any) -> None:
        if selected[-1] != 0x48:
            raise OSError(errno.EREMOTEIO, "Remote I/O error")
        assert message.size == smbus2.smbus2.I2C_SMBUS_I2C_BLOCK_DATA
        block = message.data.contents.block
        assert block[0] == 2
        if message.read_write == smbus2.smbus2.I2C_SMBUS_READ:
            block[1], block[2] = chip.read(message.command).to_bytes(2, "big")
        else:
            chip.write(message.command, block[1] << 8 | block[2])

    monkeypatch.setattr(smbus2.smbus2, "ioctl", ioctl)
    options = ADS_OPTIONS | {"range_v": 4.096, "input": "A0"}
    for name, code in (("A0", -10000), ("A1", 10000)):
        source = Ads1115Source(
            {"low_side": channel("low_side", "ads1115", 50.0, options=options | {"input": name})},
            clock,
            open_bus=lambda _: smbus2.SMBus("/dev/null"),
        )
        source.open()
        assert [int(block.code[0]) for _ in range(3) for block in source.read(1.0)] == [code] * 3
        source.close()
    absent = {"low_side": channel("low_side", "ads1115", 50.0, options=options | {"address": 0x4A})}
    with pytest.raises(SourceError, match="0x4a"):
        Ads1115Source(absent, clock, open_bus=lambda _: smbus2.SMBus("/dev/null")).open()


def test_the_tables_have_every_setting_once():
    assert sorted(INPUTS.values()) == list(range(8)) == sorted(RATES_SPS.values())
    assert sorted(RANGES_V.values()) == list(range(6))
