"""The demonstration: a virtual technician works through a session on a cart whose daemon is the real one."""

from __future__ import annotations

import contextlib
import os
import signal
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from firmware_bridge.cart import MqttConfig, load_cart
from firmware_bridge.clock import Clock
from firmware_bridge.virtual.cart import VirtualCart
from firmware_bridge.virtual.scenario import demo_scenario
from logger.broker import DemoBroker, demo_broker
from logger.daemon import Daemon
from logger.demo_ledger import with_labels
from logger.demo_text import progress, result, welcome
from logger.http_address import free_near, parse_http, url_for_phones, url_of
from logger.pairing import Pairing
from logger.port import CartPort, NoSessionError

LOOK_S = 0.5
CLOSING_S = 10.0


def run_demo(speed: float, data_dir: Path, http: str, stay: bool) -> int:
    """Play the session, say how it ended, and stay up when told to. Ends early, and in order, on SIGTERM or Ctrl-C."""
    ended = threading.Event()
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: ended.set())
    terminal = Terminal()
    host, port = parse_http(http)
    with tempfile.TemporaryDirectory(prefix="tarebook-demo-") as folder, contextlib.ExitStack() as cleanup:
        clock = Clock(speed)
        cart = VirtualCart(with_labels(demo_scenario(), data_dir), clock, folder)
        cart.start(play=False)
        cleanup.callback(cart.stop)
        broker = demo_broker()
        if broker:
            cleanup.callback(broker.stop)
        daemon = _daemon(cart, broker, data_dir, f"{host}:{free_near(host, port)}", clock)
        cleanup.callback(daemon.stop)
        daemon.start()
        number = int(daemon.url.rstrip("/").rpartition(":")[2])
        how = broker.said if broker else "no broker here; the cart works without"
        pages = url_of(host, number), url_for_phones(host, number)
        terminal.stay(welcome(*pages, speed, how, daemon.port.pairing.code()))
        findings = play_session(daemon.port, cart, terminal, ended.is_set)
        terminal.stay(result(findings, cart.truth(), str(data_dir)))
        if stay and not ended.is_set():
            terminal.stay("The page stays up. Leave with Ctrl-C.")
            codes = PairingCodes(daemon.port.pairing, terminal)
            while not ended.wait(LOOK_S):
                codes.look()
    return 0


def _daemon(cart: VirtualCart, broker: DemoBroker | None, data_dir: Path, http: str, clock: Clock) -> Daemon:
    described = load_cart(cart.cart_file)
    if broker:
        described = replace(described, mqtt=MqttConfig(broker.host, broker.port, None, None, False, None))
    return Daemon(described, data_dir, http, clock)


class Terminal:
    """One line that is written over as things go on, and lines that stay. Without a terminal only the latter, and the
    former once for every stage."""

    def __init__(self):
        self._out, self._last_stage = sys.stdout, None
        self._live = self._out.isatty()

    def stay(self, text: str) -> None:
        """Write lines that stay."""
        self._out.write(f"\r\x1b[K{text}\n" if self._live else f"{text}\n")
        self._out.flush()

    def show(self, line: str, stage: str) -> None:
        """Write over the last such line."""
        if self._live:
            width = os.get_terminal_size(self._out.fileno()).columns
            self._out.write(f"\r\x1b[K{line[: width - 1]}")
            self._out.flush()
        elif stage != self._last_stage:
            self.stay(line)
        self._last_stage = stage


class PairingCodes:
    """Tells the code that pairs a phone each time it has become another: used up, or aged. The first is known."""

    def __init__(self, pairing: Pairing, terminal: Terminal):
        self._pairing, self._terminal, self._told = pairing, terminal, pairing.code()

    def look(self) -> None:
        code = self._pairing.code()
        if code != self._told:
            self._told = code
            self._terminal.stay(f"Pairing     code {code}")


def play_session(port: CartPort, cart: VirtualCart, terminal: Terminal, is_over: Callable[[], bool]) -> dict:
    """Open a session, let the technician work, hand him the alerts, close; the findings.

    cart: started, not playing yet. is_over: asked at every look, True to break off.
    """
    session_id = port.open_session(
        {**cart.setup(), "session_id": time.strftime("demo-%Y%m%d-%H%M%S"), "started_utc": None}
    )
    codes = PairingCodes(port.pairing, terminal)
    with port.feed.subscribe() as viewer:
        cart.marks = lambda mark, detail: _tell(port, mark, detail)
        cart.play()
        while not cart.done.is_set() and not is_over():
            item = viewer.get(LOOK_S)
            codes.look()
            if item is None:
                continue
            if item.kind == "alert" and item.data["state"] == "raised":
                cart.on_alert(item.data["code"])
            elif item.kind == "now" and item.data["session_id"] == session_id:
                terminal.show(progress(item.data), item.data.get("stage") or "")
    return _close(port, session_id)


def _tell(port: CartPort, mark: str, detail: dict) -> None:
    """The technician's mark; one that comes after the session's end has no session to go to."""
    with contextlib.suppress(NoSessionError):
        port.mark({"mark": mark, "detail": detail})


def _close(port: CartPort, session_id: str) -> dict:
    """The findings, whoever closed the session: we, or the technician's last mark."""
    findings = port.close_session()
    deadline = time.monotonic() + CLOSING_S
    while findings is None and time.monotonic() < deadline:
        time.sleep(0.1)
        findings = port.store.findings(session_id)
    if findings is None:
        raise ValueError(f"session {session_id} was closed but its findings did not come; look at `tarebook sessions`")
    return findings
