"""The live feed as server-sent events."""

from __future__ import annotations

import json
import threading
import time
from collections.abc import Callable, Iterator

from flask import Response, request

from logger.publish.feed import SNAPSHOT_KIND, Feed, FeedItem, Subscription
from web.problems import Problem

LOOK_S = 0.5
HEARTBEAT_S = 10.0
RETRY_MS = 1000


def frame(kind: str, data: dict, event_id: str | None = None) -> str:
    """One event as the WHATWG HTML standard (section 9.2) writes it."""
    head = f"id: {event_id}\n" if event_id is not None else ""
    return f"{head}event: {kind}\ndata: {json.dumps(data)}\n\n"


class EventStreams:
    """Hands out at most `slots` streams at once; each ends by itself after `life_s` so that no dead phone keeps one.

    A quarter of the places is kept for paired phones: whoever takes all others does not blind who works at the cart.
    """

    def __init__(self, feed: Feed, stop: threading.Event, slots: int, life_s: float):
        self._feed, self._stop, self._life_s = feed, stop, life_s
        self._for_all, self._for_paired = threading.Semaphore(slots - slots // 4), threading.Semaphore(slots // 4)
        self._written: tuple[dict | None, str] = (None, "")

    def respond(
        self,
        snapshot: Callable[[], dict],
        show: Callable[[dict], dict],
        paired: bool,
        may_watch: Callable[[], bool],
    ) -> Response:
        """A stream: `snapshot` first, then what was missed, then what happens, each `now` as `show` makes it, for as
        long as `may_watch`. Raises Problem 503 when all places are taken.
        """
        first = frame("now", snapshot())
        seat = self._seat(paired)
        last_id = request.headers.get("Last-Event-ID") or request.args.get("last_event_id")
        frames = self._frames(seat, first, last_id, show, may_watch)
        response = Response(frames, mimetype="text/event-stream")
        response.headers["X-Accel-Buffering"] = "no"
        response.call_on_close(seat.leave)
        return response

    def _seat(self, paired: bool) -> _Seat:
        for places in (self._for_paired, self._for_all) if paired else (self._for_all,):
            if places.acquire(blocking=False):
                return _Seat(places)
        raise Problem(
            503,
            "All live places are taken",
            "as many phones watch as the cart can serve; ask /api/now once a second instead",
            {"Retry-After": "5"},
        )

    def _frames(
        self,
        seat: _Seat,
        first: str,
        last_id: str | None,
        show: Callable[[dict], dict],
        may_watch: Callable[[], bool],
    ) -> Iterator[str]:
        try:
            with self._feed.subscribe(last_id) as viewer:
                yield f"retry: {RETRY_MS}\n{first}"
                yield from self._live(viewer, show, may_watch)
        finally:
            seat.leave()

    def _live(self, viewer: Subscription, show: Callable[[dict], dict], may_watch: Callable[[], bool]) -> Iterator[str]:
        end = spoken = time.monotonic()
        end += self._life_s
        while not (self._stop.is_set() or viewer.closed or time.monotonic() > end) and may_watch():
            item = viewer.get(LOOK_S)
            if item is not None:
                spoken = time.monotonic()
                yield self._words(item, show)
            elif time.monotonic() - spoken > HEARTBEAT_S:
                spoken = time.monotonic()
                yield ": still here\n\n"

    def _words(self, item: FeedItem, show: Callable[[dict], dict]) -> str:
        """A snapshot is written once for all who watch: with many it would be most of what a look costs."""
        if item.kind != SNAPSHOT_KIND:
            return frame(item.kind, item.data, item.event_id)
        snapshot, words = self._written
        if snapshot is not item.data:
            words = frame(item.kind, show(item.data))
            self._written = item.data, words
        return words


class _Seat:
    """One taken place, given back once however the stream ends."""

    def __init__(self, free: threading.Semaphore):
        self._free, self._taken = free, threading.Lock()

    def leave(self) -> None:
        if self._taken.acquire(blocking=False):
            self._free.release()
