"""The logger on a cart: one process, a thread for each thing that may be slow, dead or gone, to no other's harm."""

from __future__ import annotations

import argparse
import json
import logging
import signal
import sys
import threading
from collections.abc import Callable, Mapping
from pathlib import Path

from firmware_bridge.blocks import Block
from firmware_bridge.cart import Cart, load_cart
from firmware_bridge.clock import Clock
from firmware_bridge.source import Source
from firmware_bridge.sources import build_sources
from logger.board_restarts import BoardRestarts
from logger.calibration_book import noted
from logger.cart_port import RunningCart
from logger.engine import Engine, Run
from logger.housekeeping import STORAGE_FREE_MB, Housekeeping
from logger.liveness import GoesOn, Liveness, ended
from logger.pairing import PAIRING_FILE, Pairing
from logger.port import CartPort
from logger.publish.buzzer import Buzzer
from logger.publish.feed import Feed
from logger.publish.valve import ValveKeeper, view_of
from logger.publishers import links_beside, publisher_for
from logger.recent_scale import RecentScale
from logger.recent_sensors import RecentSensors
from logger.record.recorder import Recorder
from logger.record.store import Store
from logger.retention import Retention
from logger.scale_desk import ScaleDesk
from logger.service_notice import Watchdog, notify
from logger.serving import Serving
from logger.session.pipeline import clean
from logger.session_defaults import close_lag_s
from logger.source_thread import SourceThread
from logger.stand_in import open_record
from logger.takeover import first_run
from logger.wallclock import WallClock, from_text, to_text

log = logging.getLogger(__name__)

SWITCH_INTERVAL_S = 0.0005
"""So that a busy thread cannot hold up a reading for long; ten times shorter than the interpreter's own."""
READY_TIMEOUT_S = 120.0
LOOK_S = 2.0


class Daemon:
    """A cart at work: `start`, then use `port` (a logger.port.CartPort), then `stop`.

    http: "HOST:PORT" to serve pages on (port 0 takes a free one), None for no pages. open_setup: begin a session at
    once with these keys of a session.json, unless one is to be resumed. Raises ValueError or OSError, one line, for a
    store that cannot be opened, settings that name unreadable files, an address that is taken.
    """

    def __init__(
        self,
        cart: Cart,
        data_dir: str | Path,
        http: str | None = None,
        clock: Clock | None = None,
        open_setup: Mapping | None = None,
        sources: list[Source] | None = None,
    ):
        self._cart, self._http = cart, http
        self._clock = clock or Clock()
        self._open_setup = open_setup
        self._stop = threading.Event()
        sources = build_sources(cart, self._clock) if sources is None else sources
        self._opened = open_record(Path(data_dir))
        self._store, self._folder = self._opened.store, self._opened.folder
        try:
            self._assemble(sources)
        except BaseException:
            self._store.close()
            raise

    def _assemble(self, sources: list[Source]) -> None:
        store, cart, clock = self._store, self._cart, self._clock
        self._recorder, self._feed = Recorder(store), Feed()
        self._wall = WallClock(_newest_moment(store))
        request = next((source.request for source in sources if hasattr(source, "request")), None)
        self._recent, self._sensors = RecentScale(clock, self._stop.wait), RecentSensors()
        self.scale = ScaleDesk(cart, store, self._wall, clock, self._recent, self._charging)
        self._valve = ValveKeeper(request, clock, close_lag_s(cart)) if cart.valve and request else None
        self._buzzer = Buzzer(request) if request else None
        pairing = Pairing(self._folder / PAIRING_FILE, utc=self._wall.text)
        desks = self.scale, self._sensors
        port = RunningCart(cart, store, self._recorder, self._feed, pairing, clock, self._wall, self._valve, *desks)
        self.port: CartPort = port
        self._engine = Engine(
            clock,
            self._recorder,
            self._feed,
            begin=lambda: first_run(cart, store, self._recorder, self._engine, clock, self._wall, port.idle_run),
            dress=self._dress,
            on_look=self._watch_valve if self._valve else lambda run, host_s: None,
            on_alerts=self._buzzer.look if self._buzzer else lambda alerts: None,
        )
        self._readers = [SourceThread(source, self._hand_on, clock, self._stop) for source in sources]
        self._mqtt, self._beside = publisher_for(cart, store, port), links_beside(cart, store, port)
        in_memory = self._opened.condition()
        free_mb, restarts = cart.limits.get("storage_free_mb", STORAGE_FREE_MB), BoardRestarts(sources)
        self._keeping = Housekeeping(
            self._folder,
            self._engine,
            store,
            self._recorder,
            clock,
            self._wall,
            port.idle_run,
            Retention(store, cart.limits.get("keep_signed_days")),
            free_mb,
            lambda: self.scale.conditions() + self._liveness.conditions() + restarts.conditions() + [in_memory],
        )
        self._liveness = Liveness(self._troubles(), (lambda: self._mqtt.connected) if self._mqtt else None)
        port.attach(self._engine, sources, self._liveness.health)
        self._pages = (
            None if self._http is None else Serving(cart, port, self._folder, self._http, self._wall, self._stop)
        )

    @property
    def record_found(self) -> str:
        """Where the record is and how it was found at the start, in words."""
        sessions = len(self._store.reader().sessions())
        return f"{self._store.path}: {sessions} session{'' if sessions == 1 else 's'}, {self._store.found}"

    @property
    def url(self) -> str | None:
        """Where the pages are, None when none are served."""
        return self._pages.url if self._pages else None

    @property
    def url_for_phones(self) -> str | None:
        """Where other machines on the network find the pages."""
        return self._pages.url_for_phones if self._pages else None

    @property
    def page_doubt(self) -> str | None:
        """One line when phones will be warned of the page's certificate."""
        return self._pages.doubt() if self._pages else None

    @property
    def broker_status(self) -> str:
        """One line about the broker."""
        return self._mqtt.status if self._mqtt else "no broker in the cart file"

    def start(self) -> None:
        """Begin; readings are kept from here on. Returns once a session has been resumed, or the new one opened."""
        sys.setswitchinterval(SWITCH_INTERVAL_S)
        self._recorder.start()
        self._engine.start()
        for part in (*self._readers, self._valve, self._buzzer, self._mqtt, *self._beside):
            if part is not None:
                part.start()
        self._engine.wait_ready(READY_TIMEOUT_S)
        self._keeping.start()
        if self._pages is not None:
            self._pages.start()
        if self._open_setup is not None and self._engine.now()["session_id"] is None:
            self.port.open_session(self._open_setup)

    def progress(self) -> tuple[int, ...]:
        """Counts that grow while the program does its work: of the engine, the recorder, and the sources together."""
        return self._engine.turns, self._recorder.state.beats, sum(reader.turns for reader in self._readers)

    def stop(self) -> None:
        """End in order: the valve closes first, what has been read is kept, viewers and broker are told last. An open
        session stays open and is resumed by the next start. Harmless twice."""
        if self._stop.is_set():
            return
        self._stop.set()
        self._feed.close()
        for part in (self._valve, self._keeping, self._buzzer):
            if part is not None:
                part.stop()
        for reader in self._readers:
            reader.join(1.0)
        self._engine.stop()
        self._recorder.stop()
        for part in (self._mqtt, *self._beside, self._pages):
            if part is not None:
                part.stop()
        self._store.close()

    def _troubles(self) -> dict[str, Callable[[], str]]:
        """By part of the logger, what says its trouble."""
        troubles = {"engine": self._engine.trouble, "recorder": self._recorder.trouble, "feed": self._feed.trouble}
        turning = {reader.source.name: reader for reader in self._readers} | {"housekeeping": self._keeping}
        turning |= {"messages": self._mqtt} if self._mqtt else {}
        turning |= {link.name: link for link in self._beside}
        living = {name: part for name, part in (("buzzer", self._buzzer), ("valve", self._valve)) if part}
        troubles |= {name: GoesOn(part).trouble for name, part in turning.items()}
        return troubles | {name: ended(part) for name, part in living.items()}

    def _hand_on(self, blocks: list[Block]) -> None:
        self._recent.take(blocks)
        self._sensors.take(blocks)
        self._engine.hand_on(blocks)

    def _charging(self) -> bool:
        return self._engine.now().get("stage") == "charging"

    def _watch_valve(self, run: Run, host_s: float) -> None:
        self._valve.look(view_of(clean(run.pipeline.now(run.time.of(host_s))), host_s))

    def _dress(self, now: dict) -> dict:
        """What the pipeline cannot know: the time of day, why a channel is silent, how the valve and the links fare."""
        reasons = {health.channel: health.reason for reader in self._readers for health in reader.source.health()}
        for name, channel in now["channels"].items():
            if channel["quality"] != "good" and reasons.get(name):
                channel["why"] = reasons[name]
        now |= {"t_utc": to_text(self._wall.now()), "clock_trusted": self._wall.trusted(), "cart_id": self._cart.id}
        now["links"] = {reader.source.name: reader.trouble or "ok" for reader in self._readers}
        now["broker"] = self.broker_status
        now["scale"] = self.scale.shown(now)
        now |= self._pages.shown() if self._pages else {"network_name": None}
        if self._valve is not None:
            now["valve"] = self._valve.state()
        return now


def run_daemon(args: argparse.Namespace) -> int:
    """`tarebook run`: args.cart, args.data, args.http, args.open. Ends on SIGTERM or SIGINT; exit status 0."""
    logging.basicConfig(level=logging.INFO, format="%(levelname)s %(threadName)s: %(message)s")
    ended = threading.Event()
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: ended.set())
    setup = _setup_file(args.open) if args.open else None
    daemon = Daemon(load_cart(args.cart), args.data, args.http, open_setup=setup)
    try:
        _adopt_checks(daemon, Path(args.cart))
        print(f"Record      {daemon.record_found}", flush=True)
        daemon.start()
        print(f"Page        {daemon.url_for_phones}", flush=True)
        if daemon.page_doubt:
            print(f"Certificate {daemon.page_doubt}", flush=True)
        notify("READY=1")
        _stay_up(daemon, ended)
    finally:
        notify("STOPPING=1")
        daemon.stop()
    return 0


def _adopt_checks(daemon: Daemon, cart_file: Path) -> None:
    """Check weights that `tarebook calibrate` kept beside the cart file; a log that cannot be read stops no cart."""
    try:
        daemon.scale.adopt(noted(cart_file, "check-weight", "scale"))
    except (ValueError, KeyError, OSError) as error:
        log.warning("check weights kept beside the cart file are left out: %s", error)


def _stay_up(daemon: Daemon, ended: threading.Event) -> None:
    """Until `ended`: tell the service manager that all goes on, and show the pairing code on the cart's terminal, the
    next one when it has been used or has aged."""
    watchdog, shown = Watchdog(), ""
    while True:
        watchdog.look(daemon.progress())
        if (code := daemon.port.pairing.code()) != shown:
            shown = code
            print(f"Pairing     code {code}", flush=True)
        if ended.wait(LOOK_S):
            return


def _setup_file(path: str | Path) -> dict:
    try:
        setup = json.loads(Path(path).read_text("utf-8"))
    except (OSError, ValueError) as error:
        raise ValueError(f"{path}: no session can be read from it: {error}") from None
    if not isinstance(setup, dict):
        raise ValueError(f"{path}: not a JSON object: write the keys of a session.json")
    return setup


def _newest_moment(store: Store):
    """The latest moment in the record: a clock that is behind it is wrong."""
    newest = next(iter(store.reader().sessions(1)), None)
    return from_text(newest["started_utc"]) if newest else None
