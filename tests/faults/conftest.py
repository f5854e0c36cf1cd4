"""The makers of carts, stores and ports that the tests of other rooms use lie in their folders."""

from __future__ import annotations

import sys
from pathlib import Path

sys.path[:0] = [
    str(Path(__file__).parent.parent / room) for room in ("web", "shell", "record", "firmware_bridge", "bench")
]
