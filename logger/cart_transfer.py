"""Asking one cart for its closed sessions, one after the other, a few chunks at a time."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import quote

from logger.incoming import Incoming, read_head
from logger.publish.topics import Message, Topics
from logger.record.dataset import Dataset
from logger.shelf import read_session_file

SILENCE_S = 5.0
MOST_SILENCES = 24
CHUNKS_AT_A_TIME = 16


@dataclass(slots=True)
class CartReport:
    """What came of one cart: sessions taken in, here already, left, each left one with its reason."""

    cart_id: str
    taken: int = 0
    known: int = 0
    left: dict[str, str] = field(default_factory=dict)

    def __str__(self) -> str:
        text = f"{self.cart_id:<20} {self.taken} taken in, {self.known} here already"
        return text + "".join(f"\n{'':<20} left: {session}: {why}" for session, why in self.left.items())


class CartTransfer:
    """The conversation with one cart, a session after the other. It only reacts: to messages, and to time."""

    def __init__(
        self, cart_id: str, folder: Path, dataset: Dataset, publish: Callable[[Message], object], now_s: float
    ):
        self.report = CartReport(cart_id)
        self._topics, self._folder, self._dataset, self._publish = Topics(cart_id), folder, dataset, publish
        self._wanted: list[tuple[str, str]] = []
        self._incoming: Incoming | None = None
        self._asked: set[int] = set()
        self._heard_s, self._silences = now_s, 0

    @property
    def done(self) -> bool:
        return not self._wanted

    def want(self, versions: dict[str, str], now_s: float) -> None:
        """The cart's list has come: ask for what is not here in this version."""
        missing = [(s, v) for s, v in versions.items() if self._dataset.version(self.report.cart_id, s) != v]
        self.report.known = len(versions) - len(missing) - self.report.taken
        idle = not self._wanted
        new = [item for item in missing if item not in self._wanted and item[0] not in self.report.left]
        self._wanted += new
        if idle and self._wanted:
            self._begin(now_s)

    def gone(self, why: str) -> None:
        """Nothing more will come: what is left is left, and what came of it is kept."""
        self.report.left |= {session: why for session, _ in self._wanted}
        self._wanted.clear()

    def heard_head(self, session_id: str, payload: bytes, now_s: float) -> None:
        if not self._wanted or session_id != self._wanted[0][0] or self._incoming is not None:
            return
        try:
            self._incoming = Incoming(self._path(session_id), read_head(payload))
        except (ValueError, OSError) as error:
            return self._next(now_s, str(error))
        self._progress(now_s)
        return self._ask_on(now_s)

    def heard_chunk(self, session_id: str, number: int, data: bytes, now_s: float) -> None:
        if self._incoming is None or not self._wanted or session_id != self._wanted[0][0]:
            return
        self._asked.discard(number)
        if self._incoming.put(number, data):
            self._progress(now_s)
        if not self._asked:
            self._ask_on(now_s)

    def look(self, now_s: float) -> None:
        """Ask again after a silence, and give up after several."""
        if not self._wanted or now_s - self._heard_s < SILENCE_S:
            return
        self._heard_s, self._silences = now_s, self._silences + 1
        if self._silences >= MOST_SILENCES:
            self.gone("the cart does not answer; what has come is kept, run this again")
        elif self._incoming is None:
            self._publish(self._topics.ask(self._wanted[0][0]))
        else:
            self._ask_on(now_s)

    def _begin(self, now_s: float) -> None:
        self._incoming, self._heard_s, self._silences = None, now_s, 0
        self._publish(self._topics.ask(self._wanted[0][0]))

    def _progress(self, now_s: float) -> None:
        self._heard_s, self._silences = now_s, 0

    def _ask_on(self, now_s: float) -> None:
        if self._incoming.missing:
            self._asked = set(self._incoming.missing[:CHUNKS_AT_A_TIME])
            self._publish(self._topics.ask(self._wanted[0][0], sorted(self._asked)))
        else:
            self._next(now_s, self._take_in())

    def _take_in(self) -> str:
        """"" when the session is in the data set, else why not. A file that is wrong comes anew with the next run."""
        try:
            self._check_and_take()
            why = ""
        except ValueError as error:
            why = str(error).replace(str(self._incoming.path), "its file")
        self._incoming.path.unlink(missing_ok=True)
        return why

    def _check_and_take(self) -> None:
        session_id, _ = self._wanted[0]
        if not self._incoming.whole():
            raise ValueError("its file is not what the cart said: run this again")
        recording, session, findings = read_session_file(self._incoming.path)
        named = (session.get("cart_id"), session.get("session_id"), recording.session_id)
        if named != (self.report.cart_id, session_id, session_id):
            raise ValueError("its file holds another session")
        self._dataset.take(recording, session, findings, self._incoming.head.version)

    def _next(self, now_s: float, why: str) -> None:
        session_id, _ = self._wanted.pop(0)
        if why:
            self.report.left[session_id] = why
        else:
            self.report.taken += 1
        if self._wanted:
            self._begin(now_s)

    def _path(self, session_id: str) -> Path:
        return self._folder / f"{quote(self.report.cart_id, safe='')}+{quote(session_id, safe='')}.part"
