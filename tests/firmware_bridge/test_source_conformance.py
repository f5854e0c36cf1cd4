"""What every source must do alike, whatever wire it hangs on."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from source_rigs import RIGS, Rig

from firmware_bridge.blocks import INVALID_CODE
from firmware_bridge.source import SourceError


@pytest.fixture(params=RIGS)
def rig(request: pytest.FixtureRequest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Rig]:
    rig = RIGS[request.param](tmp_path)
    if "wire" in rig.parts:
        for name, value in rig.parts["wire"].environment.items():
            monkeypatch.setenv(name, value)
    yield rig
    rig.source.close()
    rig.end()


def test_opens_and_closes_as_often_as_one_likes(rig: Rig):
    rig.source.close()
    rig.source.open()
    rig.source.open()
    assert (rig.watch_codes(1) == 1000).all()
    rig.source.close()
    rig.source.close()
    with pytest.raises(SourceError):
        rig.source.read(0.01)
    rig.source.open()
    rig.watch_codes(1)


def test_blocks_keep_codes_times_and_order(rig: Rig):
    rig.source.open()
    before = rig.clock.now()
    blocks = rig.watch(lambda got: sum(len(b) for b in got if b.channel == rig.channel) >= 8)
    after = rig.clock.now()
    for name in {block.channel for block in blocks}:
        own = [block for block in blocks if block.channel == name]
        t_s, codes, values = (np.concatenate([getattr(b, part) for b in own]) for part in ("t_s", "code", "value"))
        assert name in rig.source.channels
        assert (t_s.dtype, values.dtype, codes.dtype) == (np.float64, np.float64, np.int32)
        assert (np.diff(t_s) >= 0).all()
        assert before - 1.0 <= t_s[0] and t_s[-1] <= after
        np.testing.assert_allclose(values, codes * 0.1, rtol=0, atol=1e-9)


@pytest.mark.parametrize("code", [0, -1, 1001])
def test_true_codes_arrive_as_they_are(rig: Rig, code: int):
    rig.source.open()
    rig.watch_codes(1)
    rig.say(code)
    rig.watch_code(code)
    assert set(rig.watch_codes(3)) == {code}
    assert rig.health().quality == "good"


def test_an_invalid_reading_is_told_and_is_no_number(rig: Rig):
    rig.source.open()
    rig.watch_codes(1)
    rig.spoil()
    blocks = rig.watch(lambda got: any(b.channel == rig.channel and INVALID_CODE in b.code for b in got))
    bad = [block for block in blocks if block.channel == rig.channel and INVALID_CODE in block.code][0]
    assert np.isnan(bad.value[bad.code == INVALID_CODE]).all()
    assert rig.health().quality == "fault"
    assert rig.health().reason
    assert rig.health().invalid >= 1


def test_a_dead_device_is_named_and_comes_back(rig: Rig):
    rig.source.open()
    rig.watch_codes(3)
    assert rig.health().quality == "good"
    readings = rig.health().readings
    rig.kill()
    rig.watch(lambda _: rig.health().quality in ("stale", "fault"))
    assert rig.health().reason
    rig.revive()
    rig.watch_quality("good")
    assert rig.health().readings > readings
    assert (rig.watch_codes(3) == 1000).all()


def test_health_has_every_channel_before_and_after(rig: Rig):
    assert [entry.channel for entry in rig.source.health()] == list(rig.source.channels)
    assert {entry.quality for entry in rig.source.health()} == {"stale"}
    rig.source.open()
    for name in rig.source.channels:
        rig.watch_quality("good", name)
    assert all(entry.last_t_s <= rig.clock.now() for entry in rig.source.health())
    assert all(isinstance(count, int) and count >= 0 for count in rig.source.counters().values())
