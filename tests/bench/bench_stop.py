"""How far off target the stop is: own random fills and the independent recordings, beside a moving average.

tests/bench/run stop [FILLS OF EACH KIND]   (default 40; 250 of each make the thousand)
"""

from __future__ import annotations

import json
import os
import sys
import zipfile
from pathlib import Path

import numpy as np

from firmware_bridge.blocks import Block
from logger.record.recording import read_recording
from logger.replay import replay

sys.path.insert(0, str(Path(__file__).parent))
from fills_bench import KINDS, Outcome, average_stop_s, outcomes, stop_error_g

FIRST_SEED = 20_000
WRONG_G = 15.0
"""The tolerance of the published service-equipment standard (SAE J2788, 40 CFR 82 Subpart B App. C, 9.1)."""
RECORDINGS = Path(os.environ.get("TAREBOOK_RECORDINGS") or Path(__file__).parents[3] / "shared" / "recordings")


def main() -> None:
    """Print the table."""
    fills = int(sys.argv[1]) if len(sys.argv) > 1 else 40
    found = list(outcomes(fills, FIRST_SEED))
    print(f"{'kind':14} fills  |stop| median   p95   worst    missed  false   moving average p95   ratio of p95")
    for kind in KINDS:
        print(_row(kind, [outcome for outcome in found if outcome.kind == kind]))
    print(f"missed: never said, or more than {WRONG_G:.0f} g late; false: more than {WRONG_G:.0f} g early. All in g.")
    for path in sorted(RECORDINGS.glob("*.zip")):
        _print_recording(path)


def _row(kind: str, found: list[Outcome]) -> str:
    stops = np.array([np.nan if o.stop_g is None else o.stop_g for o in found])
    average = np.array([1e3 if o.average_g is None else abs(o.average_g) for o in found])
    size = np.abs(stops)
    p95, average_p95 = np.nanpercentile(size, 95), np.percentile(average, 95)
    missed = int(np.isnan(stops).sum() + (stops > WRONG_G).sum())
    return (
        f"{kind:14} {len(found):5d} {np.nanmedian(size):14.2f} {p95:6.2f} {np.nanmax(size):7.2f} {missed:8d}"
        f" {int((stops < -WRONG_G).sum()):6d} {average_p95:17.1f} {average_p95 / p95:14.1f}"
    )


def _print_recording(path: Path) -> None:
    """A recording's stop beside its truth, which the replay never sees."""
    truth = json.loads(zipfile.ZipFile(path).read("truth.json"))
    if "charge" not in truth:
        return
    recording = read_recording(path)
    charge = replay(recording)["charge"]
    batches = [block for batch in recording.batches(None) if isinstance(batch, list) for block in batch]
    scale = [block for block in batches if block.channel == "scale"]
    whole = Block("scale", np.concatenate([b.t_s for b in scale]), np.concatenate([b.value for b in scale]))
    stop = stop_error_g(truth["charge"], charge["stop_alert_t_s"])
    average = stop_error_g(truth["charge"], average_stop_s(whole, truth))
    off = charge["delivered_g"] - truth["charge"]["delivered_g"]
    print(
        f"{path.stem:22} stop {stop:+6.2f} g   moving average {'never' if average is None else f'{average:+.1f} g'}"
        f"   delivered {off:+.2f} g, U {charge['uncertainty_g']:.2f} g"
    )


if __name__ == "__main__":
    main()
