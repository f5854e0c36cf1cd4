"""Keeping the scale honest while the logger runs: tare, the empty platform, a check weight, and what they say."""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping

from firmware_bridge.cart import Cart
from firmware_bridge.clock import Clock
from logger.calibration_book import day_of
from logger.measure.scale_check import CheckWeight, judge_check
from logger.measure.scale_trend import DriftVerdict, judge_drift, judge_zero
from logger.measure.ticks import Signal
from logger.recent_scale import RecentScale
from logger.record.scale_checks import add_scale_checks, scale_checks
from logger.record.store import Store
from logger.session.scale_due import due_words, is_due, last_check
from logger.wallclock import WallClock, to_text

EMPTY_LASTS_S = 900.0
SHOWN = 20
SUBJECT = "scale checks"


class ScaleDesk:
    """Orders of a person at the page, from any thread; each raises ValueError, one line, when it cannot be done."""

    def __init__(
        self,
        cart: Cart,
        store: Store,
        wall: WallClock,
        clock: Clock,
        recent: RecentScale,
        is_charging: Callable[[], bool] = lambda: False,
    ):
        self._cart, self._store, self._wall, self._clock, self._recent = cart, store, wall, clock, recent
        self._is_charging = is_charging
        self._reader = store.reader()
        self._lock = threading.Lock()
        self._empty: tuple[float, float] | None = None
        self._tare_g: float | None = self._reader.value(self._tare_key)
        self._drift = self._judge()

    @property
    def _tare_key(self) -> str:
        return f"scale_tare_g/{self._cart.id}"

    def tare(self, on: bool) -> dict:
        """Show weights from what stands on the platform now, or (False) whole again. The charge is counted from weights
        before and after and needs no tare."""
        tare_g = self._recent.rest() if on else None
        with self._lock:
            self._tare_g = tare_g
            self._store.set_value(self._tare_key, tare_g)
        return {"tare_g": tare_g}

    def resting_g(self) -> float:
        """What stands on the platform now, g, by the mean of two seconds in which it rested."""
        return self._recent.rest()

    def weigh_empty(self) -> dict:
        """The platform is said to be empty: keep what it reads, and judge it beside what it read before."""
        self._refuse_while_charging()
        empty_g = self._recent.rest()
        if self._cart.scale and abs(empty_g) > 0.2 * self._cart.scale.max_g:
            raise ValueError(f"the scale shows {empty_g:.0f} g, which is no empty platform: clear it, then try again")
        with self._lock:
            self._empty = (self._clock.now(), empty_g)
            self._keep({"what": "empty", "zero_g": round(empty_g, 3)})
        return {"empty_g": empty_g, "drift": self._drift.code is not None, "message": self._drift.message}

    def check_weight(self, nominal_g: float) -> dict:
        """A known mass stands on the platform that was empty before: judge and keep what it shows."""
        self._refuse_while_charging()
        scale = self._class()
        shown_g = self._recent.rest() - self._fresh_empty()
        verdict = judge_check(CheckWeight(0.0, nominal_g, shown_g), *scale)
        with self._lock:
            kept = {"nominal_g": nominal_g, "shown_g": round(shown_g, 3), "outcome": verdict.outcome}
            self._keep({"what": "check-weight", **kept})
        return {**kept, "error_g": verdict.error_g, "limit_g": verdict.limit_g, "message": verdict.why}

    def adopt(self, entries: list[Mapping]) -> None:
        """Take in check weights that were kept elsewhere, such as beside the cart file."""
        known = ("at_utc", "what", "nominal_g", "shown_g", "outcome")
        with self._lock:
            add_scale_checks(self._store, self._cart.id, [{key: e[key] for key in known} for e in entries])
            self._drift = self._judge()

    def last_check(self) -> dict:
        """The last check with a weight as `logger.session.scale_due` has it."""
        checks = scale_checks(self._reader, self._cart.id, "check-weight")
        return last_check(checks, self._wall.text(), self._cart.limits.get("scale_check_days"))

    def state(self) -> dict:
        """For a page: class and interval, tare, what the history says, whether a check is due, its newest entries,
        newest first."""
        scale, check = self._cart.scale, self.last_check()
        entries = scale_checks(self._reader, self._cart.id)[: -SHOWN - 1 : -1]
        return {
            "class": scale.accuracy_class if scale else None,
            "e_g": scale.e_g if scale else None,
            "tare_g": self._tare_g,
            "drift": self._drift.code is not None,
            "message": self._drift.message,
            "check": {**check, "due": is_due(check), "words": due_words(check)},
            "checks": entries,
        }

    def shown(self, now: Mapping) -> dict:
        """For snapshots: tare and net weight of a snapshot's scale, g."""
        value = (now["channels"].get("scale") or {}).get("value")
        net_g = None if value is None or self._tare_g is None else value - self._tare_g
        return {"tare_g": self._tare_g, "net_g": net_g}

    def conditions(self) -> list[tuple[str, Signal]]:
        """(subject, signal) of the alert that the history calls for, active or not."""
        drift = self._drift
        return [(SUBJECT, Signal("scale-drift", "caution", drift.code is not None, _sentence(drift.message)))]

    def _keep(self, entry: dict) -> None:
        add_scale_checks(self._store, self._cart.id, [{"at_utc": to_text(self._wall.now()), **entry}])
        self._drift = self._judge()

    def _judge(self) -> DriftVerdict:
        """The check weights first; where they are content, what the empty platform says."""
        if self._cart.scale is None:
            return DriftVerdict(None, 0.0, None, None, "not judged: add [scale] with class and e_g to the cart file")
        entries, scale = scale_checks(self._reader, self._cart.id), self._class()
        checks = [CheckWeight(day_of(e), e["nominal_g"], e["shown_g"]) for e in entries if e["what"] == "check-weight"]
        zeros = [(day_of(e), e["zero_g"]) for e in entries if e["what"] == "empty"]
        found = judge_drift(checks, *scale) if checks else None
        if found and found.code:
            return found
        returned = judge_zero(zeros, *scale)
        return returned if returned.code or found is None else found

    def _class(self) -> tuple:
        if self._cart.scale is None:
            raise ValueError('the cart file does not say the scale\'s class: add [scale] with class = "III" and e_g')
        return self._cart.scale.accuracy_class, self._cart.scale.e_g

    def _fresh_empty(self) -> float:
        with self._lock:
            if self._empty is None or self._clock.now() - self._empty[0] > EMPTY_LASTS_S:
                raise ValueError("the empty platform was not weighed just before: clear it and weigh it empty first")
            return self._empty[1]

    def _refuse_while_charging(self) -> None:
        if self._is_charging():
            raise ValueError("a charge is going on: check the scale when it has ended")


def _sentence(message: str) -> str:
    return message[:1].upper() + message[1:]
