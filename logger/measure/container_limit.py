"""How much a refillable container may hold, and a warning before it holds more.

At most 80 % of its volume at 21 °C may be liquid (SAE J2788, 40 CFR 82 subpart B appendix C, 7.2), which leaves room
for what heat does: a container full of liquid bursts. Water capacity is what is stamped on it: the mass of water it
takes at room temperature (998 kg/m³ at 21 °C, IAPWS).
"""

from __future__ import annotations

from collections.abc import Mapping

from logger.measure.condition import Condition
from logger.measure.saturation import Saturation, saturation
from logger.measure.ticks import Signal, Tick

FILL_SHARE = 0.80
FILL_AT_C = 21.0
NEARLY = 0.95
HOLD_OFF_S = 3
WATER_KG_PER_M3 = 998.0
FILLED_BY_RATIO = ("R-744",)
"""Near their critical point at room temperature: their containers have a filling ratio of their own."""


def most_g(refrigerant: str, water_capacity_g: float | None) -> float | None:
    """What a container of this water capacity may hold; None where that cannot be told. Raises UnknownRefrigerant."""
    return None if water_capacity_g is None else _most_g(saturation(refrigerant), water_capacity_g)


def _most_g(curve: Saturation, water_capacity_g: float) -> float | None:
    density = None if curve.refrigerant.number in FILLED_BY_RATIO else curve.liquid_density(FILL_AT_C)
    return None if density is None else FILL_SHARE * water_capacity_g * density / WATER_KG_PER_M3


class ContainerLimit:
    """Compares what stands on the platform with what it may hold, once its tare and water capacity were told."""

    def __init__(self, curve: Saturation | None):
        self._curve = curve
        self._told: tuple[float, float] | None = None
        self._stands: tuple[float, float] | None = None
        self._nearly = Condition("container-nearly-full", "caution", "", HOLD_OFF_S, HOLD_OFF_S)
        self._over = Condition("container-overfull", "danger", "", HOLD_OFF_S, HOLD_OFF_S)

    def connected(self, detail: Mapping) -> None:
        """A container was connected: the one that stands there, else the next. Without data nothing is judged."""
        tare_g, capacity_g = detail.get("tare_g"), detail.get("water_capacity_g")
        known = self._curve is not None and tare_g is not None and capacity_g is not None
        limit_g = _most_g(self._curve, capacity_g) if known else None
        self._told = (0.0, 0.0) if limit_g is None else (tare_g, limit_g)

    def update(self, tick: Tick) -> list[Signal]:
        """Signals of one second."""
        if not tick.scale.present:
            self._stands = None
        elif self._told is not None:
            self._stands, self._told = self._told, None
        gross_g = tick.scale.gross_g
        if self._stands is None or not self._stands[1] or gross_g is None:
            return self._nearly.update(False, True) + self._over.update(False, True)
        tare_g, limit_g = self._stands
        return self._judge(gross_g - tare_g, limit_g)

    def _judge(self, held_g: float, limit_g: float) -> list[Signal]:
        over = (
            f"Stop filling: the container holds {held_g:.0f} g and may hold {limit_g:.0f} g (80 % of its volume at "
            "21 °C). Recover the surplus into another one; keep it cool"
        )
        nearly = f"The container takes {limit_g - held_g:.0f} g more, then it is full (80 %): have another one ready"
        near = NEARLY * limit_g < held_g <= limit_g
        said = self._nearly.update(near, held_g < 0.93 * limit_g or held_g > limit_g, nearly)
        return said + self._over.update(held_g > limit_g, held_g < 0.995 * limit_g, over)
