"""The cart file's [channel.*] tables: what each source's channels may say, and what no two of them may share."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import Any

from firmware_bridge.ads1115_registers import INPUTS, RANGES_V, RATES_SPS
from firmware_bridge.blocks import CHANNEL_UNITS
from firmware_bridge.calibration import Calibration, CalibrationError
from firmware_bridge.channel import ChannelConfig
from firmware_bridge.toml_table import Table

BOARD_FIELDS = ("w", "lo", "hi", "va", "t1", "t2", "t3", "t4", "t5")
BOARD_RATES_HZ = {"w": 10.0, "t": 1.0}
SIXTEENTHS = ((0.0, 0.0), (16.0, 1.0))
"""A DS18B20 counts 1/16 °C by itself."""
UNIT_SPELLINGS = {"C": "°C", "degC": "°C"}
PROBE_ID = re.compile(r"28-[0-9a-f]{12}")
LIVE_ZERO_MILLIONTHS = (50_000, 950_000)
"""A ratiometric transducer gives 0.1 to 0.9 of its supply; beyond 0.05 and 0.95 a wire is at fault (common practice, no
source)."""


def read_channels(tables: Mapping[str, Table], has_board: bool) -> dict[str, ChannelConfig]:
    """Raises CartError."""
    channels = {name: _channel(name, table, has_board) for name, table in tables.items()}
    taken: dict[tuple, str] = {}
    for name, config in channels.items():
        place = _place(config)
        if place in taken:
            raise tables[name].error(f"hangs where [channel.{taken[place]}] hangs already: {' '.join(map(str, place))}")
        taken[place] = name
    return channels


def _channel(name: str, table: Table, has_board: bool) -> ChannelConfig:
    source = table.choice("source", _READERS)
    if source == "board" and not has_board:
        raise table.error('source = "board" needs a [board] with its port')
    unit = _unit(name, table)
    field, rate_hz, options, codes = _READERS[source](table)
    config = ChannelConfig(
        name=name,
        source=source,
        unit=unit,
        points=_points(table, nominal=SIXTEENTHS if field.startswith("t") or source == "onewire" else None),
        rate_hz=table.number("rate_hz", rate_hz, 0.01, 1000),
        field=field,
        code_min=table.integer("code_min", codes[0]),
        code_max=table.integer("code_max", codes[1]),
        options=options,
    )
    table.done(f"unknown key for source {source!r}:")
    _refuse_contradictions(table, config)
    return config


def _unit(name: str, table: Table) -> str:
    expected = CHANNEL_UNITS[name]
    unit = table.text("unit", expected)
    if UNIT_SPELLINGS.get(unit, unit) != expected:
        raise table.error(
            f'unit = "{unit}" is not what {name} is kept in: write unit = "{expected}", and its points so too'
        )
    return expected


def _points(table: Table, nominal: tuple | None) -> tuple[tuple[float, float], ...]:
    given = table.points("points", nominal) if nominal else table.points("points")
    try:
        return Calibration(given).points
    except CalibrationError as error:
        raise table.error(f"points: {error}") from None


def _refuse_contradictions(table: Table, config: ChannelConfig) -> None:
    if config.code_min is not None and config.code_max is not None and config.code_min >= config.code_max:
        raise table.error(f"code_min = {config.code_min} is not below code_max = {config.code_max}")
    if config.name != "scale" and config.calibration.slope < 0:
        raise table.error("points run backwards, the value falls as the code rises: exchange the values or the wires")


def _place(config: ChannelConfig) -> tuple:
    """What a channel hangs on, as no other may."""
    at = config.options
    return {
        "board": ("board", "field", config.field),
        "hx711": ("hx711", "pins", at.get("dout_pin"), at.get("sck_pin")),
        "ads1115": ("ads1115", "bus", at.get("bus"), "address", at.get("address"), at.get("input")),
        "onewire": ("onewire", "probe", at.get("probe")),
        "virtual": ("virtual", config.name),
    }[config.source]


_Read = tuple[str, float, dict[str, Any], tuple[int | None, int | None]]
"""field, usual rate (Hz), the driver's options, usual limits of the code."""


def _board(table: Table) -> _Read:
    field = table.choice("field", BOARD_FIELDS)
    return field, BOARD_RATES_HZ.get(field[0], 5.0), {}, (None, None)


def _hx711(table: Table) -> _Read:
    options = {
        "dout_pin": table.integer("dout_pin", low=0, high=27),
        "sck_pin": table.integer("sck_pin", low=0, high=27),
        "gain": table.choice("gain", (128, 64), 128),
    }
    if options["dout_pin"] == options["sck_pin"]:
        raise table.error(f"dout_pin and sck_pin are both {options['dout_pin']}")
    return "", 10.0, options, (None, None)


def _ads1115(table: Table) -> _Read:
    options = {
        "bus": table.integer("bus", 1, 0, 255),
        "address": table.integer("address", 0x48, 0x48, 0x4B),
        "input": table.choice("input", INPUTS),
        "range_v": table.choice("range_v", RANGES_V, 6.144),
        "sps": table.choice("sps", RATES_SPS, 128),
        "mode": table.choice("mode", ("single-shot", "continuous"), "single-shot"),
        "supply_input": table.choice("supply_input", INPUTS, None),
    }
    supply = options["supply_input"]
    if supply is None:
        return "", 5.0, options, (None, None)
    if supply == options["input"] or options["mode"] == "continuous":
        raise table.error("a ratiometric input needs another supply_input, and single-shot mode to read both in turn")
    return "", 5.0, options, LIVE_ZERO_MILLIONTHS


def _onewire(table: Table) -> _Read:
    probe = table.text("probe")
    if not PROBE_ID.fullmatch(probe):
        raise table.error(f'probe = "{probe}" is no DS18B20: write the folder\'s name, like "28-0316a2794bff"')
    return "", 1.0, {"probe": probe, "folder": table.text("folder", "/sys/bus/w1/devices")}, (None, None)


def _virtual(_: Table) -> _Read:
    return "", 10.0, {}, (None, None)


_READERS: dict[str, Callable[[Table], _Read]] = {
    "board": _board,
    "hx711": _hx711,
    "ads1115": _ads1115,
    "onewire": _onewire,
    "virtual": _virtual,
}
