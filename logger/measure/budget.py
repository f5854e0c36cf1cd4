"""Uncertainty of a mass by JCGM 100:2008 (GUM): components combined in quadrature, expanded with k = 2."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from math import sqrt

COVERAGE_FACTOR = 2


@dataclass(frozen=True, slots=True)
class Component:
    """One line of the budget: standard uncertainty in g, and where it comes from."""

    name: str
    u_g: float
    why: str


def rectangular(half_width: float) -> float:
    """Standard uncertainty of a value known only to lie within +/- half_width (JCGM 100 4.3.7)."""
    return abs(half_width) / sqrt(3.0)


def resolution(step: float) -> float:
    """Standard uncertainty of rounding to multiples of `step` (JCGM 100 F.2.2.1)."""
    return abs(step) / sqrt(12.0)


def combined(components: Iterable[Component]) -> float:
    """Combined standard uncertainty of independent components (JCGM 100 5.1.2 with unit sensitivities)."""
    return sqrt(sum(component.u_g**2 for component in components))


def expanded(components: Iterable[Component]) -> float:
    """k times the combined standard uncertainty (JCGM 100 6.2.1)."""
    return COVERAGE_FACTOR * combined(components)
