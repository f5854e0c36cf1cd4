"""Wall time beside the monotonic clock: what it is, and whether it can be believed."""

from __future__ import annotations

import ctypes
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

TIME_ERROR = 5
"""What adjtimex(2) returns while the system's clock is not synchronised."""
_TIMEX_BYTES = 512
SYNCHRONISED_MARK = Path("/run/systemd/timesync/synchronized")
"""Made by the system's time service once it knows the time; a locked-down service may not ask the kernel."""
BARE_BOARD = Path("/proc/device-tree/model")
BATTERY_CLOCK = Path("/sys/class/rtc/rtc0/since_epoch")
MOST_RTC_ERROR_S = 300.0


def machine_keeps_time(bare_board: Path = BARE_BOARD, battery_clock: Path = BATTERY_CLOCK) -> bool:
    """Whether the machine knows the time after being switched on. A single-board computer wakes at some moment of its
    past, unless it has a clock with a battery: one without begins at zero and so disagrees with the system's. Other
    machines have a battery or a host that tells them."""
    if not bare_board.exists():
        return True
    try:
        return abs(int(battery_clock.read_text()) - datetime.now(UTC).timestamp()) < MOST_RTC_ERROR_S
    except (OSError, ValueError):
        return False


def system_is_synchronised(mark: Path = SYNCHRONISED_MARK) -> bool:
    """Whether something disciplines the system's clock, as its time service or the kernel (adjtimex(2)) says."""
    if mark.exists():
        return True
    try:
        return ctypes.CDLL(None).adjtimex(ctypes.create_string_buffer(_TIMEX_BYTES)) not in (-1, TIME_ERROR)
    except (OSError, AttributeError):
        return False


class WallClock:
    """UTC, and whether it can be trusted.

    keeps_time: the machine knows the time by itself. synchronised: asks whether the clock is disciplined. not_before: a
    moment that is certainly past, such as the newest one in the record: a clock behind it is wrong whatever it says.
    """

    def __init__(
        self,
        not_before: datetime | None = None,
        keeps_time: Callable[[], bool] = machine_keeps_time,
        synchronised: Callable[[], bool] = system_is_synchronised,
        now: Callable[[], datetime] = lambda: datetime.now(UTC),
    ):
        self._not_before, self._now, self._synchronised = not_before, now, synchronised
        self._keeps_time = keeps_time()

    def now(self) -> datetime:
        return self._now()

    def trusted(self) -> bool:
        if self._not_before is not None and self._now() < self._not_before:
            return False
        return self._keeps_time or self._synchronised()

    def text(self) -> str | None:
        """Now as `to_text` writes it, None while it cannot be trusted."""
        return to_text(self.now()) if self.trusted() else None


def to_text(moment: datetime) -> str:
    """ISO 8601 with `Z`, whole milliseconds."""
    return moment.astimezone(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def from_text(text: str | None) -> datetime | None:
    """The moment, None where there is none or it cannot be read."""
    if not text:
        return None
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        return None
    return moment if moment.tzinfo else moment.replace(tzinfo=UTC)
