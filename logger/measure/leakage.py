"""Leakage over months: what a vehicle lost between the day it was charged and the day it came back."""

from __future__ import annotations

from dataclasses import dataclass

YEAR_DAYS = 365.25
SHORTEST_DAYS = 14.0


@dataclass(frozen=True, slots=True)
class Leakage:
    """Loss in g/year with its expanded uncertainty (k = 2), or None with the reason."""

    g_per_year: float | None
    uncertainty_g_per_year: float | None
    lost_g: float | None
    words: str


def leakage(
    charged_g: float | None,
    charged_u_g: float,
    recovered_g: float | None,
    recovered_u_g: float,
    days: float,
    unrecovered_g: float = 0.0,
    unrecovered_u_g: float = 15.0,
) -> Leakage:
    """Loss between a charge and the next recovery; uncertainties expanded (k = 2).

    unrecovered_g: what recovery leaves behind in oil and vapour; its default uncertainty is our guess (SAE J2788 asks
    for 95 % recovered). Not judged under two weeks or when an amount is missing.
    """
    if charged_g is None or recovered_g is None:
        missing = "charged" if charged_g is None else "recovered"
        return Leakage(None, None, None, f"the {missing} mass is not on record")
    if days < SHORTEST_DAYS:
        return Leakage(None, None, None, f"{days:.0f} days between the two are too few to speak of a year")
    lost_g = charged_g - recovered_g - unrecovered_g
    years = days / YEAR_DAYS
    u_rate = (charged_u_g**2 + recovered_u_g**2 + unrecovered_u_g**2) ** 0.5 / years
    return Leakage(lost_g / years, u_rate, lost_g, _words(lost_g / years, u_rate, days))


def _words(rate: float, u_rate: float, days: float) -> str:
    span = f"over {days:.0f} days"
    if abs(rate) <= u_rate:
        return (
            f"No loss that weighing could tell {span}: {rate:.0f} ± {u_rate:.0f} g/year. A smaller leak may be there."
        )
    if rate < 0:
        return (
            f"More came out than went in {span} ({rate:.0f} ± {u_rate:.0f} g/year): somebody topped it up, or a "
            f"mass is wrong."
        )
    return f"Lost {rate:.0f} ± {u_rate:.0f} g/year {span}. Find and mend the leak before the next charge."
