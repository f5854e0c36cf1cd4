"""Hours of a cart that is always on: nothing grows that should not. The month itself is `tests/bench/run month`."""

from __future__ import annotations

from bench_month import Month


def test_idle_hours_leave_nothing_behind(tmp_path):
    with Month(tmp_path) as cart:
        sizes = [cart.idle_hours(0.5) for _ in range(3)]
        cart.silence()
        assert not cart.failed and not cart.daemon._engine.failures
    before, after = sizes[-2:]
    assert after.threads == before.threads and after.log_kb == before.log_kb
    assert after.wal_mb < 8 and after.objects < 1.1 * before.objects
