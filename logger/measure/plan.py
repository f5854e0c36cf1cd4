"""What a charge needs: containers, the reading to stop at on each, what the hose keeps and what is left over.

Pure arithmetic on grams. What a container holds by its label is not what it gives: when the liquid is gone it still
holds saturated vapour. Computed with CoolProp 8 at 25 °C: 11.6 g in a 0.36 L container of R-134a, about 440 g in one of
13.5 L. The plan counts by the label, says what such a heel adds to the last container's share, and leaves the word to
the scale.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from logger.measure.hose import hose_content_g
from logger.measure.saturation import saturation

FILL_DENSITY_G_PER_ML = 0.95
"""What a full container holds for each millilitre of its volume, about: 340 g in 0.36 L, 13.6 kg in 13.5 L."""

ROOM_C = 25.0
"""The temperature at which heels and hoses are reckoned."""


class PlanError(ValueError):
    """A plan that cannot be made; one line that says why."""


@dataclass(frozen=True, slots=True)
class Placard:
    """What the vehicle's label allows. tolerance_assumed: the label gave one amount alone, the range is ±15 g of it."""

    low_g: float
    high_g: float
    nominal_g: float
    tolerance_assumed: bool = False


@dataclass(frozen=True, slots=True)
class Container:
    """One container at hand.

    nominal_g: what it is sold as holding. content_g: what is in it now, None for a full one. gross_g: what the scale
    shows with it on the platform, None when not weighed. tare_g: empty, None when unknown.
    """

    nominal_g: float
    content_g: float | None = None
    gross_g: float | None = None
    tare_g: float | None = None

    @property
    def holds_g(self) -> float:
        """What is in it now, by weight where that is known, else by what was said, else by the label."""
        if self.gross_g is not None and self.tare_g is not None:
            return self.gross_g - self.tare_g
        return self.nominal_g if self.content_g is None else self.content_g

    @property
    def full_gross_g(self) -> float | None:
        """What the scale shows before the draw, None when it cannot be known from what was said."""
        if self.gross_g is not None:
            return self.gross_g
        return None if self.tare_g is None else self.tare_g + self.holds_g

    @property
    def part_used(self) -> bool:
        """Whether it holds less than it was sold with (half a percent and more)."""
        return self.holds_g < 0.995 * self.nominal_g


@dataclass(frozen=True, slots=True)
class Draw:
    """One container's share, in the order of use; `given` is its place among the containers given, from 1.

    draw_g: its share if every container gives all that it holds. draw_heels_kept_g: its share if each emptied one keeps
    its heel. stop_gross_g: the reading to stop at for draw_g, None without a reading to start from. left_g: what then
    remains in it. emptied: nothing but its heel is left for the next one.
    """

    given: int
    container: Container
    draw_g: float
    draw_heels_kept_g: float
    start_gross_g: float | None
    stop_gross_g: float | None
    heel_g: float
    left_g: float
    emptied: bool


@dataclass(frozen=True, slots=True)
class Plan:
    """A charge laid out.

    unused: containers that can stay shut, by their place among those given. short_g: what the containers lack by their
    labels; short_heels_kept_g: with every heel left in them; to_buy: how many more full ones like the last given cover
    the latter.
    """

    placard: Placard
    target_g: float
    hose_residue_g: float
    hose_if_liquid_g: float
    to_draw_g: float
    draws: tuple[Draw, ...]
    unused: tuple[int, ...]
    containers_needed: int
    short_g: float
    short_heels_kept_g: float
    to_buy: int


def plan_charge(
    placard: Placard,
    containers: Sequence[Container],
    hose_volume_ml: float = 0.0,
    hose_residue_g: float = 0.0,
    refrigerant: str = "R-134a",
) -> Plan:
    """Lay a charge out over `containers`: part-used ones first, otherwise as given.

    hose_residue_g: what the hose keeps at the end; it is drawn on top of the target. hose_volume_ml: its inner volume,
    for what it would keep if it ended full of liquid. Raises PlanError for no container or one that holds
    nothing, UnknownRefrigerant for a refrigerant without tables.
    """
    _check(placard, containers, hose_volume_ml, hose_residue_g)
    to_draw = placard.nominal_g + hose_residue_g
    order = sorted(range(len(containers)), key=lambda i: not containers[i].part_used)
    draws, rest, rest_heels_kept = [], to_draw, to_draw
    for i in order:
        if rest_heels_kept <= 1e-9:
            break
        draw = _draw(i + 1, containers[i], rest, rest_heels_kept, refrigerant)
        draws.append(draw)
        rest, rest_heels_kept = rest - draw.draw_g, rest_heels_kept - draw.draw_heels_kept_g
    reach = sum(_gives_g(c, refrigerant) for c in containers)
    to_buy = _more(to_draw - reach, containers[-1], refrigerant)
    return Plan(
        placard=placard,
        target_g=placard.nominal_g,
        hose_residue_g=hose_residue_g,
        hose_if_liquid_g=hose_content_g(refrigerant, hose_volume_ml, None, ROOM_C, "liquid").mass_g or 0.0,
        to_draw_g=to_draw,
        draws=tuple(draws),
        unused=tuple(i + 1 for i in order[len(draws) :]),
        containers_needed=len(draws) + to_buy,
        short_g=max(to_draw - sum(c.holds_g for c in containers), 0.0),
        short_heels_kept_g=max(to_draw - reach, 0.0),
        to_buy=to_buy,
    )


def heel_g(container: Container, refrigerant: str) -> float:
    """The saturated vapour a container keeps when its liquid is gone, at 25 °C, from its label amount; g."""
    return container.nominal_g / FILL_DENSITY_G_PER_ML * (saturation(refrigerant).vapour_density(ROOM_C) or 0.0) / 1000


def hose_vapour_g(volume_ml: float, refrigerant: str) -> float:
    """What a hose keeps when the container's valve is shut first and the low side draws it down: vapour at half the
    saturation pressure of 25 °C (333 kPa absolute for R-134a: 0.5 g in a metre of 1/4 in. hose); g."""
    pressure_pa = saturation(refrigerant).pressure_pa(ROOM_C)
    return hose_content_g(refrigerant, volume_ml, pressure_pa and pressure_pa / 2, ROOM_C).mass_g or 0.0


def _gives_g(container: Container, refrigerant: str) -> float:
    return max(container.holds_g - heel_g(container, refrigerant), 0.0)


def _more(missing_g: float, like: Container, refrigerant: str) -> int:
    if missing_g <= 1e-9:
        return 0
    return math.ceil(missing_g / _gives_g(replace(like, content_g=None, gross_g=None, tare_g=None), refrigerant))


def _draw(given: int, container: Container, rest_g: float, rest_heels_kept_g: float, refrigerant: str) -> Draw:
    held, gives = container.holds_g, _gives_g(container, refrigerant)
    draw = min(rest_g, held)
    start = container.full_gross_g
    return Draw(
        given=given,
        container=container,
        draw_g=draw,
        draw_heels_kept_g=min(rest_heels_kept_g, gives),
        start_gross_g=start,
        stop_gross_g=None if start is None else start - draw,
        heel_g=min(heel_g(container, refrigerant), held),
        left_g=held - draw,
        emptied=rest_heels_kept_g >= gives,
    )


def _check(placard: Placard, containers: Sequence[Container], volume: float, residue: float) -> None:
    if not containers:
        raise PlanError("no container given; name at least one, for instance 12 oz")
    if not 0 < placard.low_g <= placard.nominal_g <= placard.high_g < math.inf:
        raise PlanError(f"placard {placard.low_g:g}-{placard.high_g:g} g is no range of amounts above zero")
    if not (0 <= volume < math.inf and 0 <= residue < math.inf):
        raise PlanError("the hose's volume and what it keeps are zero or more")
    for i, container in enumerate(containers, 1):
        if not 0 < container.holds_g < math.inf or container.nominal_g <= 0:
            raise PlanError(f"container {i} holds {container.holds_g:g} g; a container to draw from holds something")
