"""Whether the time of day can be believed."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from logger.wallclock import WallClock, from_text, kernel_is_synchronised, machine_keeps_time, to_text

MAY, JUNE = datetime(2026, 5, 1, tzinfo=UTC), datetime(2026, 6, 1, tzinfo=UTC)


@pytest.mark.parametrize(
    ("keeps", "synchronised", "not_before", "trusted"),
    [
        (True, False, None, True),
        (False, True, None, True),
        (False, False, None, False),
        (True, True, JUNE, False),
        (True, True, MAY, True),
    ],
)
def test_trusted(keeps, synchronised, not_before, trusted):
    clock = WallClock(not_before, lambda: keeps, lambda: synchronised, lambda: MAY)
    assert clock.trusted() is trusted and clock.now() == MAY


def test_a_bare_board_without_a_battery_does_not_keep_time(tmp_path):
    there = tmp_path / "there"
    there.touch()
    gone = tmp_path / "gone"
    assert machine_keeps_time(battery_clock=there, bare_board=there)
    assert machine_keeps_time(battery_clock=gone, bare_board=gone)
    assert not machine_keeps_time(battery_clock=gone, bare_board=there)


def test_the_kernel_can_be_asked():
    assert kernel_is_synchronised() in (True, False)


def test_text_and_back():
    assert to_text(MAY) == "2026-05-01T00:00:00.000Z"
    assert from_text(to_text(MAY)) == MAY
    assert from_text("2026-05-01T00:00:00") == MAY
    assert from_text(None) is None and from_text("yesterday") is None
