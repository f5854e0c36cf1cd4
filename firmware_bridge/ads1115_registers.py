"""The ADS1115's registers, as the data sheet (TI SBAS444, section "Register Map") has them."""

from __future__ import annotations

CONVERSION, CONFIG = 0, 1
RESET_CONFIG = 0x8583
START_OR_IDLE = 0x8000
SINGLE_SHOT = 0x0100
COMPARATOR_OFF = 0x0003
RAILS = (-32768, 32767)

INPUTS = {"A0-A1": 0, "A0-A3": 1, "A1-A3": 2, "A2-A3": 3, "A0": 4, "A1": 5, "A2": 6, "A3": 7}
"""Input to its MUX bits; a single name is against ground."""
RANGES_V = {6.144: 0, 4.096: 1, 2.048: 2, 1.024: 3, 0.512: 4, 0.256: 5}
"""Full scale in V to its PGA bits."""
RATES_SPS = {8: 0, 16: 1, 32: 2, 64: 3, 128: 4, 250: 5, 475: 6, 860: 7}
"""Conversions a second to its DR bits."""


def config_word(input_name: str, range_v: float, sps: int, single_shot: bool) -> int:
    """The word that starts a conversion of this input, or conversions without end."""
    mode = START_OR_IDLE | SINGLE_SHOT if single_shot else 0
    return mode | INPUTS[input_name] << 12 | RANGES_V[range_v] << 9 | RATES_SPS[sps] << 5 | COMPARATOR_OFF
