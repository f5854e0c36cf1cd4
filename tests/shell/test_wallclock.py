"""Whether the time of day can be believed."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from logger.wallclock import WallClock, from_text, machine_keeps_time, system_is_synchronised, to_text

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


def test_a_bare_board_keeps_time_only_with_a_battery_clock_that_agrees(tmp_path):
    board, gone, clock = tmp_path / "board", tmp_path / "gone", tmp_path / "since_epoch"
    board.touch()
    assert machine_keeps_time(bare_board=gone, battery_clock=gone)
    assert not machine_keeps_time(bare_board=board, battery_clock=gone)
    clock.write_text(f"{int(datetime.now(UTC).timestamp())}\n")
    assert machine_keeps_time(bare_board=board, battery_clock=clock)
    for unset in ("86400\n", "", "?"):
        clock.write_text(unset)
        assert not machine_keeps_time(bare_board=board, battery_clock=clock)


def test_the_time_service_or_the_kernel_can_be_asked(tmp_path):
    assert system_is_synchronised(tmp_path / "none") in (True, False)
    (tmp_path / "synchronized").touch()
    assert system_is_synchronised(tmp_path / "synchronized") is True


def test_text_and_back():
    assert to_text(MAY) == "2026-05-01T00:00:00.000Z"
    assert from_text(to_text(MAY)) == MAY
    assert from_text("2026-05-01T00:00:00") == MAY
    assert from_text(None) is None and from_text("yesterday") is None
