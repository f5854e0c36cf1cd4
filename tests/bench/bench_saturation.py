"""Saturation from the tables against a CoolProp call for every value, in one run: speed as a ratio, and the largest
error."""

from __future__ import annotations

import time

import numpy as np
from CoolProp.CoolProp import PropsSI

from logger.measure.refrigerants import REFRIGERANTS
from logger.measure.saturation import Saturation, saturation

VALUES = 4000


def seconds_each(work, values: int) -> float:
    """Time of one value, best of three."""
    best = float("inf")
    for _ in range(3):
        start = time.perf_counter()
        work()
        best = min(best, time.perf_counter() - start)
    return best / values


def compare(curve: Saturation) -> dict[str, float]:
    """Ratios and errors of one refrigerant over -40…90 °C, as far as it has saturation."""
    temp_c = np.linspace(-40.0, min(90.0, curve.highest_c - 0.1), VALUES)
    fluid = curve.refrigerant.fluid
    exact_pa = PropsSI("P", "T", temp_c + 273.15, "Q", 0, fluid)
    few = exact_pa[:: VALUES // 200].tolist()
    library = seconds_each(lambda: [PropsSI("T", "P", p, "Q", 0, fluid) for p in few], len(few))
    array = seconds_each(lambda: curve.temperatures_c(exact_pa), VALUES)
    scalar = seconds_each(lambda: [curve.temperature_c(p) for p in few], len(few))
    return {
        "array": library / array,
        "scalar": library / scalar,
        "error_k": np.max(np.abs(curve.temperatures_c(exact_pa) - temp_c)),
        "error_pct": 100.0 * np.max(np.abs(curve.pressures_pa(temp_c) / exact_pa - 1.0)),
    }


def main() -> None:
    """Print the table."""
    print("times faster than one CoolProp call a value, and largest error over -40…90 °C")
    print(f"  {'refrigerant':12} {'on arrays':>10} {'on scalars':>10} {'error mK':>9} {'error %':>9}")
    for number in REFRIGERANTS:
        row = compare(saturation(number))
        print(
            f"  {number:12} {row['array']:9.0f}x {row['scalar']:9.0f}x {1e3 * row['error_k']:9.3f} "
            f"{row['error_pct']:9.5f}"
        )


if __name__ == "__main__":
    main()
