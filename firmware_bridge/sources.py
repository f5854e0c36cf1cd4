"""The sources that a cart file's channels hang on."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import smbus2

from firmware_bridge.ads1115 import Ads1115Source, Bus
from firmware_bridge.board import BoardSource
from firmware_bridge.cart import Cart, CartError
from firmware_bridge.channel import ChannelConfig
from firmware_bridge.clock import Clock
from firmware_bridge.hx711_cell import Hx711Source
from firmware_bridge.onewire import OneWireSource
from firmware_bridge.source import Source

Channels = dict[str, ChannelConfig]


@dataclass(frozen=True, slots=True)
class Wires:
    """How this machine reaches its pins: an I2C bus by its number, and the module that drives GPIO pins."""

    open_bus: Callable[[int], Bus] = smbus2.SMBus
    gpio_module: str = "RPi.GPIO"


def build_sources(cart: Cart, clock: Clock, wires: Wires | None = None) -> list[Source]:
    """One source for the board, each load cell, each converter and all one-wire probes; none is opened.

    Raises CartError for a channel whose source is "virtual": such sensors exist only where they are emulated.
    """
    wires = wires or Wires()
    groups: dict[tuple, Channels] = {}
    for name, config in cart.channels.items():
        groups.setdefault(_device(config), {})[name] = config
    return [_source(cart, clock, wires, *key, channels=channels) for key, channels in groups.items()]


def _device(config: ChannelConfig) -> tuple:
    """The kind and the name of what a channel hangs on."""
    at = config.options
    names = {
        "board": lambda: "board",
        "hx711": lambda: f"hx711-{at['dout_pin']}-{at['sck_pin']}",
        "ads1115": lambda: f"ads1115-{at['bus']}-{at['address']:02x}",
        "onewire": lambda: f"onewire {at['folder']}",
    }
    if config.source not in names:
        raise CartError(f'[channel.{config.name}] source = "{config.source}": there is no such device on a real cart')
    return config.source, names[config.source]()


def _source(cart: Cart, clock: Clock, wires: Wires, kind: str, name: str, channels: Channels) -> Source:
    if kind == "board":
        return BoardSource(cart.board.port, channels, clock, baud=cart.board.baud, board=cart.board.id, name=name)
    if kind == "hx711":
        return Hx711Source(channels, clock, gpio_module=wires.gpio_module, name=name)
    if kind == "ads1115":
        return Ads1115Source(channels, clock, open_bus=wires.open_bus, name=name)
    return OneWireSource(channels, clock, name=name)
