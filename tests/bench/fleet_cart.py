"""One virtual cart of the fleet, in a process of its own: the real daemon, its readings played from a recording.

Run by bench_fleet.py: RECORDING FOLDER CART-ID BROKER-PORT SPEED SECONDS. Says what it did as JSON lines on standard
output and ends when standard input does.
"""

from __future__ import annotations

import json
import sys
import threading
import time
from pathlib import Path

import numpy as np

from firmware_bridge.blocks import Block
from firmware_bridge.cart import Cart, load_cart
from firmware_bridge.clock import Clock
from firmware_bridge.source import ChannelHealth
from logger.daemon import Daemon
from logger.port import CartPort
from logger.record.recording import Recording, read_recording

NOT_MINE = ("session_id", "started_utc", "cart_id", "channels", "format", "version")
LOOK_S = 0.1
SETTLED_S = 60.0


class Player:
    """A source that gives a recording's readings up to `end_s` when their time has come. `given`: how many."""

    name = "player"

    def __init__(self, recording: Recording, clock: Clock, end_s: float):
        self._rows = recording.rows[slice(int(np.searchsorted(recording.rows.t_s, end_s)))]
        self._names, self._clock = list(recording.channels), clock
        self.channels = tuple(self._names)
        self.began_s: float | None = None
        self.given = 0

    def done(self) -> bool:
        return self.given == len(self._rows)

    def open(self) -> None:
        return None

    def read(self, timeout_s: float) -> list[Block]:
        time.sleep(min(LOOK_S, self._clock.real_s(timeout_s)))
        if self.began_s is None:
            return []
        upto = int(np.searchsorted(self._rows.t_s, self._clock.now() - self.began_s, side="right"))
        part, self.given = self._rows[slice(self.given, upto)], upto
        return [self._block(part, k) for k in np.unique(part.channel)]

    def _block(self, part, k: int) -> Block:
        mine = part.channel == k
        return Block(self._names[k], part.t_s[mine] + self.began_s, part.value[mine])

    def health(self) -> list[ChannelHealth]:
        return []

    def counters(self) -> dict[str, int]:
        return {}

    def close(self) -> None:
        return None


def cart_of(recording: Recording, cart_id: str, port: int, folder: Path) -> Cart:
    """A cart with the recording's channels and that broker."""
    lines = [f'[cart]\nid = "{cart_id}"', f'[mqtt]\nhost = "127.0.0.1"\nport = {port}']
    for name, channel in recording.channels.items():
        lines += [f'[channel.{name}]\nsource = "virtual"\nrate_hz = {channel["rate_hz"]}']
        lines += ["points = [[0, 0.0], [1000, 1000.0]]"]
    path = folder / "cart.toml"
    path.write_text("\n".join(lines), "utf-8")
    return load_cart(path)


def play(recording: Recording, player: Player, port: CartPort, clock: Clock, seconds: float) -> str:
    """A session of so many real seconds, with the recording's marks as its technician made them; its id."""
    session_id = port.open_session({k: v for k, v in recording.session.items() if k not in NOT_MINE})
    player.began_s = clock.now()
    for mark in recording.marks:
        wait_s = min(clock.real_s(player.began_s + mark.t_s - clock.now()), seconds)
        if clock.real_s(mark.t_s) >= seconds or mark.detail.get("stage") == "closed":
            break
        time.sleep(max(wait_s, 0.0))
        port.mark({"mark": mark.mark, "detail": mark.detail})
    _wait(player.done)
    time.sleep(2 * LOOK_S)
    port.close_session()
    return session_id


def told(port: CartPort, raised: dict[int, float]) -> None:
    """When each alert was told on the feed (UNIX time), by its number."""
    with port.feed.subscribe() as viewer:
        while not viewer.closed:
            item = viewer.get(1.0)
            if item is not None and item.kind == "alert" and item.data["state"] == "raised":
                raised.setdefault(item.data["seq"], time.time())


def main(recording: str, folder: str, cart_id: str, port: str, speed: str, seconds: str) -> None:
    kept, clock, place = read_recording(recording), Clock(float(speed)), Path(folder)
    player = Player(kept, clock, float(seconds) * clock.speed)
    daemon = Daemon(cart_of(kept, cart_id, int(port), place), place, None, clock, sources=[player])
    raised: dict[int, float] = {}
    daemon.start()
    watcher = threading.Thread(target=told, args=(daemon.port, raised))
    watcher.start()
    try:
        _say({"connected": _wait(lambda: daemon.broker_status.startswith("connected"))})
        sys.stdin.readline()
        began = time.process_time(), time.monotonic()
        session_id = play(kept, player, daemon.port, clock, float(seconds))
        cpu = (time.process_time() - began[0]) / (time.monotonic() - began[1])
        store = daemon.port.store
        settled = _wait(lambda: not store.rows("SELECT 1 FROM outbox"))
        found = {"kept": len(store.recording(session_id).rows), "given": player.given, "cpu": cpu, "settled": settled}
        alerts = [alert["seq"] for alert in store.alerts(session_id)]
        _say({"session_id": session_id, **found, "alerts": alerts, "raised": raised})
        sys.stdin.readline()
    finally:
        daemon.stop()
        watcher.join(5)


def _wait(condition) -> bool:
    end = time.monotonic() + SETTLED_S
    while not condition() and time.monotonic() < end:
        time.sleep(0.1)
    return bool(condition())


def _say(what: dict) -> None:
    print(json.dumps(what), flush=True)


if __name__ == "__main__":
    main(*sys.argv[1:])
