"""The record does not grow for ever where the shop says so: what was signed off long ago is let go of, once a day."""

from __future__ import annotations

import logging
from datetime import datetime

from logger.record.decisions import prune
from logger.record.errors import StoreError
from logger.record.store import Store
from logger.wallclock import to_text

log = logging.getLogger(__name__)

PERIOD_S = 86400.0


class Retention:
    """keep_days: how long a session is kept after it began, None for ever."""

    def __init__(self, store: Store, keep_days: float | None):
        self._store, self._keep_days = store, keep_days
        self._next_s = 0.0

    def look(self, now_s: float, now_utc: datetime) -> list[str]:
        """Called again and again while the time of day is known; the sessions let go of. Never beside an open one."""
        if self._keep_days is None or now_s < self._next_s or self._store.open_session_id() is not None:
            return []
        self._next_s = now_s + PERIOD_S
        try:
            gone = prune(self._store, self._keep_days, to_text(now_utc))
        except StoreError as error:
            log.warning("nothing let go of: %s", error)
            return []
        if gone:
            log.info("let go of, signed off and older than %g days: %s", self._keep_days, ", ".join(gone))
        return gone
