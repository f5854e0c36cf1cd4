"""The normally closed charging valve: held open on a person's order while all is well, closed by everything else.

Holding takes a request at least each second (the board closes by itself after 1,000 ms without one), so that a crash
closes it too. An order is spent by the first closing, whatever the reason: opening again takes a person again.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass

from firmware_bridge.clock import Clock

HOLD_PERIOD_S = 0.3
UNKEPT_MOST = 3
"""So many requests in a row not taken, and the board's dead man has closed the valve."""
FRESH_S = 0.6
SHORTEST_WAIT_S = 0.005

Request = Callable[..., object]
"""Sends one request to the board, as in `request(valve=1)`; may raise OSError."""


@dataclass(frozen=True, slots=True)
class ValveView:
    """What the decision hangs on, weighed at clock time `weighed_t_s`; masses in g, flow in g/s out of the container.

    why_not: the reason why charging must not go on (a danger, a fault, no session), "" when there is none.
    """

    weighed_t_s: float
    delivered_g: float | None = None
    target_g: float | None = None
    flow_g_per_s: float = 0.0
    why_not: str = ""


@dataclass(frozen=True, slots=True)
class Decision:
    """Whether the valve is held open, why not, and for how long this holds if nothing new comes (s)."""

    open: bool
    why: str = ""
    good_for_s: float = HOLD_PERIOD_S


def decide(ordered: bool, view: ValveView | None, now_s: float, lag_s: float) -> Decision:
    """Hold open or close at clock time `now_s`.

    The mass that will have passed when a valve closed now has shut is delivered + flow * (age of the weighing + lag);
    the valve closes when that reaches the target, so that the fill lands on it. Common practice, no source.
    """
    reason = _reason_to_close(ordered, view, now_s)
    if reason:
        return Decision(False, reason)
    flow = max(view.flow_g_per_s, 0.0)
    age_s = max(now_s - view.weighed_t_s, 0.0)
    missing_g = view.target_g - view.delivered_g - flow * (age_s + lag_s)
    if missing_g <= 0:
        return Decision(False, "target reached")
    until_closing_s = missing_g / flow if flow > 0 else HOLD_PERIOD_S
    return Decision(True, "", min(HOLD_PERIOD_S, until_closing_s, FRESH_S - age_s))


def _reason_to_close(ordered: bool, view: ValveView | None, now_s: float) -> str:
    if not ordered:
        return "no order"
    if view is None or view.delivered_g is None:
        return "nothing weighed"
    if now_s - view.weighed_t_s >= FRESH_S:
        return "readings are not fresh"
    if view.why_not:
        return view.why_not
    return "" if view.target_g is not None else "no target"


def view_of(now: dict, clock_s: float, channel: str = "scale") -> ValveView:
    """The view in a snapshot (`/api/now`) taken at clock time `clock_s`."""
    charge = now.get("charge") or {}
    weighed = (now.get("channels") or {}).get(channel) or {}
    age_s = weighed.get("age_s")
    return ValveView(
        weighed_t_s=clock_s - age_s if age_s is not None else float("-inf"),
        delivered_g=charge.get("delivered_g"),
        target_g=charge.get("target_g"),
        flow_g_per_s=charge.get("flow_g_per_s") or 0.0,
        why_not=_why_not(now, weighed.get("quality")),
    )


def _why_not(now: dict, quality: str | None) -> str:
    if not now.get("session_id"):
        return "no session is open"
    if now.get("stage") != "charging":
        return "the stage is not charging"
    if quality != "good":
        return f"the scale is {quality or 'silent'}"
    for alert in now.get("alerts") or []:
        if alert["severity"] == "danger" or alert["code"] == "stop-charging":
            return f"{alert['code']} stands"
    return ""


class ValveKeeper:
    """Keeps the board asked while `decide` says so. `look` and `order` may be called from any thread and never wait."""

    def __init__(self, request: Request, clock: Clock, lag_s: float):
        self._request = request
        self._clock = clock
        self._lag_s = lag_s
        self._changed = threading.Condition()
        self._view: ValveView | None = None
        self._ordered = False
        self._held = False
        self._why = "no order"
        self._fresh_news = False
        self._stopping = False
        self._unkept = 0
        self._thread = threading.Thread(target=self._run, name="valve", daemon=True)

    def start(self) -> None:
        self._thread.start()

    def stop(self) -> None:
        """Close the valve and end."""
        with self._changed:
            self._ordered, self._stopping = False, True
            self._changed.notify()
        self._thread.join(2)

    def order(self, open_it: bool) -> Decision:
        """A person's order. Returns what it comes to at this moment: an order that cannot be kept is refused."""
        with self._changed:
            decision = decide(open_it, self._view, self._clock.now(), self._lag_s)
            self._ordered = decision.open
            self._why = "ordered closed" if not open_it else decision.why
            self._fresh_news = True
            self._changed.notify()
        return decision

    def look(self, view: ValveView) -> None:
        """The latest weighing."""
        with self._changed:
            self._view = view
            self._fresh_news = True
            if self._ordered:
                self._changed.notify()

    def state(self) -> dict:
        """For snapshots: {"open": whether held open, "why": why it is closed}."""
        return {"open": self._held, "why": "" if self._held else self._why}

    def alive(self) -> bool:
        return self._thread.is_alive()

    def _run(self) -> None:
        asked_s = float("-inf")
        while True:
            now_s = self._clock.now()
            decision, stopping = self._judge(now_s)
            due = now_s - asked_s >= HOLD_PERIOD_S or not self._held
            if decision.open and due:
                asked_s = now_s
                self._unkept = 0 if self._ask(1) else self._unkept + 1
                if self._unkept >= UNKEPT_MOST:
                    decision = self._give_up()
            elif self._held and not decision.open:
                self._ask(0)
            self._held = decision.open
            if stopping:
                return
            self._sleep(min(decision.good_for_s, asked_s + HOLD_PERIOD_S - now_s) if decision.open else 1.0)

    def _judge(self, now_s: float) -> tuple[Decision, bool]:
        """The decision for now, which spends the order when it is to close; and whether the keeper is to end."""
        with self._changed:
            self._fresh_news = False
            decision = decide(self._ordered, self._view, now_s, self._lag_s)
            if self._ordered and not decision.open:
                self._ordered, self._why = False, decision.why
            return decision, self._stopping

    def _give_up(self) -> Decision:
        """The board has not taken the last requests, and by now has closed the valve: only a person opens it again."""
        self._unkept = 0
        self._ask(0)
        with self._changed:
            self._ordered, self._why = False, "the board does not keep it open"
        return Decision(False, self._why)

    def _sleep(self, seconds: float) -> None:
        with self._changed:
            if not (self._fresh_news or self._stopping):
                self._changed.wait(self._clock.real_s(max(seconds, SHORTEST_WAIT_S)))

    def _ask(self, valve: int) -> bool:
        """Whether the board took it. Silence closes the valve: a board that cannot be asked closes it by itself."""
        try:
            return self._request(valve=valve) is not False
        except OSError:
            return False
