"""Whether the stated uncertainty of the delivered mass covers the truth, and how narrow it is.

Every fill's scale has a slope of its own, off by as much as the budget says a calibration leaves.

tests/bench/run coverage [FILLS OF EACH KIND]   (default 40)
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

from logger.measure.charge_account import CALIBRATION_SHARE

sys.path.insert(0, str(Path(__file__).parent))
from fills_bench import KINDS, Outcome, outcomes

FIRST_SEED = 60_000


def main() -> None:
    """Print the table; all in g but the share covered."""
    fills = int(sys.argv[1]) if len(sys.argv) > 1 else 40
    found = list(outcomes(fills, FIRST_SEED, CALIBRATION_SHARE))
    print(f"{'kind':14} fills  |delivered - true| median   p95   worst   U median   covered")
    for kind in (*KINDS, "all"):
        print(_row(kind, [outcome for outcome in found if kind in (outcome.kind, "all")]))


def _row(kind: str, found: list[Outcome]) -> str:
    off = np.abs([outcome.delivered_g for outcome in found])
    u = np.array([outcome.u_g for outcome in found])
    return (
        f"{kind:14} {len(found):5d} {np.median(off):26.2f} {np.percentile(off, 95):6.2f} {off.max():7.2f}"
        f" {np.median(u):10.2f} {100 * (off <= u).mean():8.1f} %"
    )


if __name__ == "__main__":
    main()
