"""The feed: no viewer can hold it up, no event is missed by one that comes back."""

from __future__ import annotations

import threading

from hypothesis import given
from hypothesis import strategies as st

from logger.publish.feed import Feed


def drain(viewer):
    items = []
    while (item := viewer.get(0)) is not None:
        items.append(item)
    return items


def test_slow_viewer_loses_the_oldest_snapshots_and_no_event():
    feed = Feed()
    slow = feed.subscribe(size=3)
    for n in range(10):
        feed.publish("now", {"n": n})
        feed.publish("alert", {"seq": n})
    items = drain(slow)
    assert [i.data["seq"] for i in items if i.kind == "alert"] == list(range(10))
    assert [i.data["n"] for i in items if i.kind == "now"] == [7, 8, 9]
    assert slow.dropped_snapshots == 7
    assert slow.missed_events == 0


def test_an_alert_overtakes_waiting_snapshots():
    feed = Feed()
    viewer = feed.subscribe()
    feed.publish("now", {})
    feed.publish("alert", {"seq": 1})
    assert [item.kind for item in drain(viewer)] == ["alert", "now"]


def test_snapshots_carry_no_id_and_ids_are_unique():
    feed = Feed()
    assert feed.publish("now", {}).event_id is None
    ids = [feed.publish("stage", {}).event_id for _ in range(5)]
    assert None not in ids and len(set(ids)) == 5


@given(st.lists(st.sampled_from(["now", "alert", "stage", "session"]), max_size=60), st.data())
def test_a_viewer_that_comes_back_sees_every_event_once(kinds, data):
    feed = Feed(ring=100)
    away_from = data.draw(st.integers(0, len(kinds)))
    first = feed.subscribe()
    for n, kind in enumerate(kinds[:away_from]):
        feed.publish(kind, {"n": n})
    seen = [item for item in drain(first) if item.event_id]
    first.close()
    for n, kind in enumerate(kinds[away_from:], away_from):
        feed.publish(kind, {"n": n})
    if not seen:
        return
    second = feed.subscribe(last_event_id=seen[-1].event_id)
    seen += [item for item in drain(second) if item.event_id]
    assert [item.data["n"] for item in seen] == [n for n, kind in enumerate(kinds) if kind != "now"]


def test_an_id_of_an_earlier_run_or_a_foreign_one_gets_all_that_is_kept():
    earlier = Feed().publish("alert", {}).event_id
    feed = Feed()
    for n in range(3):
        feed.publish("alert", {"n": n})
    for foreign in (earlier, "", "garbage", "-", "1-²"):
        assert [item.data["n"] for item in drain(feed.subscribe(last_event_id=foreign))] == [0, 1, 2]


def test_what_has_left_the_ring_is_counted_as_missed():
    feed = Feed(ring=2)
    viewer = feed.subscribe()
    for n in range(5):
        feed.publish("alert", {"n": n})
    assert [item.data["n"] for item in drain(viewer)] == [3, 4]
    assert viewer.missed_events == 3


def test_closing_wakes_a_waiting_viewer():
    feed = Feed()
    viewer = feed.subscribe()
    got = []
    waiting = threading.Thread(target=lambda: got.append(viewer.get(60)))
    waiting.start()
    feed.close()
    waiting.join(10)
    assert got == [None] and viewer.closed


def test_a_viewer_that_left_is_not_counted_nor_fed():
    feed = Feed()
    with feed.subscribe() as viewer:
        assert feed.viewers() == 1
    feed.publish("now", {})
    assert feed.viewers() == 0 and not viewer.snapshots
