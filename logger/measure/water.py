"""Saturation pressure of water over liquid and over ice."""

from __future__ import annotations

import math

TRIPLE_K = 273.16
TRIPLE_PA = 611.657

_CRITICAL_K = 647.096
_CRITICAL_PA = 22.064e6

# IAPWS SR1-86(1992) / Wagner and Pruss 1993, auxiliary equation for the saturation pressure of liquid water
_LIQUID = (
    (1.0, -7.85951783),
    (1.5, 1.84408259),
    (3.0, -11.7866497),
    (3.5, 22.6807411),
    (4.0, -15.9618719),
    (7.5, 1.80122502),
)

# IAPWS R14-08(2011), sublimation pressure of ordinary water ice
_ICE = ((0.333333333e-2, -0.212144006e2), (0.120666667e1, 0.273203819e2), (0.170333333e1, -0.610598130e1))


def saturation_pa(temp_c: float) -> float | None:
    """Pressure in Pa at which water boils, or below 0.01 °C ice sublimes; None outside -100…370 °C."""
    temp_k = temp_c + 273.15
    if not 173.15 <= temp_k <= 643.15:
        return None
    return _over_liquid(temp_k) if temp_k >= TRIPLE_K else _over_ice(temp_k)


def saturation_c(pressure_pa: float) -> float | None:
    """Temperature in °C at which water boils (or ice sublimes) at an absolute pressure; None outside 0.0015 Pa…20
    MPa."""
    low, high = -99.0, 368.0
    if not saturation_pa(low) <= pressure_pa <= saturation_pa(high):
        return None
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if saturation_pa(middle) < pressure_pa else (low, middle)
    return 0.5 * (low + high)


def _over_liquid(temp_k: float) -> float:
    tau = 1.0 - temp_k / _CRITICAL_K
    return _CRITICAL_PA * math.exp(_CRITICAL_K / temp_k * sum(a * tau**power for power, a in _LIQUID))


def _over_ice(temp_k: float) -> float:
    theta = temp_k / TRIPLE_K
    return TRIPLE_PA * math.exp(sum(a * theta**power for power, a in _ICE) / theta)
