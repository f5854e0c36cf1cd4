"""What happens on the cart, handed to every viewer: events that none may miss, snapshots of which the last counts."""

from __future__ import annotations

import secrets
import threading
import time
from collections import deque
from dataclasses import dataclass

RING_EVENTS = 1024
VIEWER_SNAPSHOTS = 4
SNAPSHOT_KIND = "now"
LATE_S = 3.0


@dataclass(frozen=True, slots=True)
class FeedItem:
    """One thing to show. `event_id` goes into an `id:` line; None for a snapshot, which nobody asks for again."""

    kind: str
    data: dict
    event_id: str | None = None


class Feed:
    """Hands items to subscriptions without ever waiting for one of them.

    Events ("alert", "stage", "session") stay in a ring of the last `ring` and carry an id `<run>-<n>`; a viewer that
    comes back with the id of the last one it saw gets all later ones first. `<run>` is new with every start of the
    program, so that an id of an earlier run is recognised: that viewer gets the whole ring.
    """

    def __init__(self, ring: int = RING_EVENTS):
        self._run = secrets.token_hex(4)
        self._ring: deque[FeedItem] = deque(maxlen=ring)
        self._published = 0
        self._viewers: set[Subscription] = set()
        self._changed = threading.Condition()
        self._closed = False
        self._shown_s = time.monotonic()

    def publish(self, kind: str, data: dict) -> FeedItem:
        """Hand one item to all viewers; never blocks on a slow one. `data` must not be changed afterwards."""
        with self._changed:
            if kind == SNAPSHOT_KIND:
                self._shown_s = time.monotonic()
                item = FeedItem(kind, data)
                for viewer in self._viewers:
                    viewer.offer(item)
            else:
                self._published += 1
                item = FeedItem(kind, data, f"{self._run}-{self._published}")
                self._ring.append(item)
            self._changed.notify_all()
        return item

    def subscribe(self, last_event_id: str | None = None, size: int = VIEWER_SNAPSHOTS) -> Subscription:
        """A new viewer. Without `last_event_id` it sees what happens from now on; with it, all events after that one.

        size: how many snapshots wait for this viewer before the oldest is dropped.
        """
        with self._changed:
            viewer = Subscription(self, self._cursor_after(last_event_id), size)
            self._viewers.add(viewer)
        return viewer

    def viewers(self) -> int:
        """How many subscriptions are open."""
        return len(self._viewers)

    def trouble(self) -> str:
        """Why what viewers see is not of now, "" when it is."""
        quiet_s = time.monotonic() - self._shown_s
        return f"has shown nothing for {quiet_s:.0f} s" if quiet_s > LATE_S else ""

    def close(self) -> None:
        """End every subscription: their `get` returns None at once and `closed` is True."""
        with self._changed:
            self._closed = True
            self._changed.notify_all()

    @property
    def closed(self) -> bool:
        return self._closed

    def _cursor_after(self, last_event_id: str | None) -> int:
        if last_event_id is None:
            return self._published
        run, _, number = last_event_id.strip().rpartition("-")
        if run != self._run or not (number.isascii() and number.isdigit()):
            return 0
        return min(int(number), self._published)

    def _leave(self, viewer: Subscription) -> None:
        with self._changed:
            self._viewers.discard(viewer)

    def _next(self, viewer: Subscription, timeout: float) -> FeedItem | None:
        deadline = time.monotonic() + timeout
        with self._changed:
            while not self._closed:
                item = self._take(viewer)
                remaining = deadline - time.monotonic()
                if item is not None or remaining <= 0:
                    return item
                self._changed.wait(remaining)
        return None

    def _take(self, viewer: Subscription) -> FeedItem | None:
        """The next event of this viewer, else its oldest waiting snapshot: an alert never queues behind figures."""
        oldest = self._published - len(self._ring)
        if viewer.cursor < oldest:
            viewer.missed_events += oldest - viewer.cursor
            viewer.cursor = oldest
        if viewer.cursor < self._published:
            item = self._ring[viewer.cursor - oldest]
            viewer.cursor += 1
            return item
        return viewer.snapshots.popleft() if viewer.snapshots else None


class Subscription:
    """One viewer's place in the feed; used by one thread. A context manager."""

    def __init__(self, feed: Feed, cursor: int, size: int):
        self._feed = feed
        self.cursor = cursor
        self.snapshots: deque[FeedItem] = deque(maxlen=size)
        self.dropped_snapshots = 0
        self.missed_events = 0

    def get(self, timeout: float) -> FeedItem | None:
        """The next item, waiting at most `timeout` real seconds; None when nothing came or the feed has closed."""
        return self._feed._next(self, timeout)

    def offer(self, snapshot: FeedItem) -> None:
        """Called by the feed: the oldest snapshot gives way when the viewer is slow."""
        if len(self.snapshots) == self.snapshots.maxlen:
            self.dropped_snapshots += 1
        self.snapshots.append(snapshot)

    @property
    def closed(self) -> bool:
        return self._feed.closed

    def close(self) -> None:
        """Leave the feed; harmless when already left."""
        self._feed._leave(self)

    def __enter__(self) -> Subscription:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()
