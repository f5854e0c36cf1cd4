"""Makes logger/measure/refrigerant_tables.npz from CoolProp: `python tests/reference/build_tables.py`.

500 points per refrigerant, geometric in pressure, from the lowest temperature of interest to just under the critical
point. A test makes them again and compares.
"""

from __future__ import annotations

import pathlib

import numpy as np

from logger.measure.refrigerants import REFRIGERANTS, Refrigerant

POINTS = 500
LOWEST_C = -60.0
TABLE = pathlib.Path(__file__).parents[2] / "logger" / "measure" / "refrigerant_tables.npz"


def table(entry: Refrigerant) -> np.ndarray:
    """float64 (4, POINTS): pressure in Pa, saturation temperature in K, liquid and vapour density in kg/m³."""
    from CoolProp.CoolProp import PropsSI

    lowest_k = max(LOWEST_C + 273.15, PropsSI("Ttriple", entry.fluid) + 0.1)
    p_pa = np.geomspace(PropsSI("P", "T", lowest_k, "Q", 0, entry.fluid), 0.9985 * entry.critical_pa, POINTS)
    rows = [PropsSI(name, "P", p_pa, "Q", quality, entry.fluid) for name, quality in (("T", 0), ("D", 0), ("D", 1))]
    return np.array([p_pa, *rows])


def tables() -> dict[str, np.ndarray]:
    """All tables by ASHRAE 34 number."""
    return {entry.number: table(entry) for entry in REFRIGERANTS.values()}


if __name__ == "__main__":
    np.savez_compressed(TABLE, **tables())
    print(f"{TABLE.name}: {TABLE.stat().st_size} bytes")
