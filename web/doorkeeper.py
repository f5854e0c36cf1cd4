"""Who may stay connected: connections that nobody uses give way to those who come, so that a crowd of dead phones keeps
none of the living from the page."""

from __future__ import annotations

import errno
import logging
import resource
import time

from waitress.channel import HTTPChannel
from waitress.server import BaseWSGIServer, TcpWSGIServer, UnixWSGIServer

log = logging.getLogger(__name__)

QUIET_S = 20.0
"""A phone that took nothing for so long is asleep or gone; it comes back by itself. Streams speak every ten seconds."""
LOOK_S = 0.5
GRACE_S = 1.0
"""One that has just come has not had its say yet."""
MOST_CONNECTIONS = 256
SPARE_DESCRIPTORS = 256
"""For the record, its readers in every thread, the sensors, the broker: some 140 after a month."""
ROOM = 8
REST_S = 0.05
SAY_AGAIN_S = 60.0
OUT_OF_MEANS = (errno.EMFILE, errno.ENFILE, errno.ENOBUFS, errno.ENOMEM)


def most_connections() -> int:
    """So many that the rest of the program never lacks a descriptor."""
    return max(2 * ROOM, min(MOST_CONNECTIONS, resource.getrlimit(resource.RLIMIT_NOFILE)[0] - SPARE_DESCRIPTORS))


class _Doorkeeper(BaseWSGIServer):
    """A waitress server that looks after its connections by the monotonic clock; waitress itself goes by the wall's,
    which may be set back by years."""

    def __init__(self, *args, **kwargs):
        self._seen: dict[HTTPChannel, tuple[float, float]] = {}
        self._next_look_s = self._rests_until_s = self._say_again_s = 0.0
        super().__init__(*args, **kwargs)

    def readable(self) -> bool:
        now_s = time.monotonic()
        if now_s >= self._next_look_s:
            self._next_look_s = now_s + LOOK_S
            self._look(now_s)
        if len(self._map) >= self.adj.connection_limit - 1:
            self._make_room(now_s)
        return super().readable() and now_s >= self._rests_until_s

    def accept(self):
        try:
            return super().accept()
        except OSError as error:
            if error.errno not in OUT_OF_MEANS:
                raise
            self._out_of(error.strerror, time.monotonic())
            return None

    def _out_of(self, what: str, now_s: float) -> None:
        self._rests_until_s = now_s + REST_S
        self._make_room(now_s)
        if now_s >= self._say_again_s:
            self._say_again_s = now_s + SAY_AGAIN_S
            log.warning("no connection can be taken: %s; those that nobody uses are closed", what)

    def _look(self, now_s: float) -> None:
        """Close what has been quiet for too long, but for those whose answer is still being made."""
        seen, self._seen = self._seen, {}
        for channel in self.active_channels.values():
            last, since_s = seen.get(channel, (channel.last_activity, now_s))
            since_s = since_s if channel.last_activity == last else now_s
            self._seen[channel] = (channel.last_activity, since_s)
            if now_s - since_s > QUIET_S and _waits_for_the_phone(channel):
                channel.will_close = True

    def _make_room(self, now_s: float) -> None:
        """Close some that are quiet, the longest first: those that ask for nothing, then those that take nothing."""
        idle = [
            (bool(channel.requests), since_s, channel)
            for channel, (_, since_s) in self._seen.items()
            if now_s - since_s > GRACE_S and not channel.will_close and _waits_for_the_phone(channel)
        ]
        for _, _, channel in sorted(idle, key=lambda each: each[:2])[:ROOM]:
            channel.will_close = True


class DoorkeptServer(_Doorkeeper, TcpWSGIServer):
    """One that phones reach themselves."""


class DoorkeptInside(_Doorkeeper, UnixWSGIServer):
    """One that listens on a socket of this machine, behind what speaks TLS."""


def _waits_for_the_phone(channel: HTTPChannel) -> bool:
    return not channel.requests or bool(channel.total_outbufs_len)
