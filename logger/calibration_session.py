"""One run of `tarebook calibrate`: the cart file, an open source and a person, brought together."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from pathlib import Path

from firmware_bridge.cart import Cart
from firmware_bridge.clock import Clock
from firmware_bridge.source import Source
from logger import calibration_book as book
from logger import scale_guide
from logger.calibration_guide import Bench, guide
from logger.measure.scale_check import CheckWeight, ScaleClass
from logger.quantities import parse_mass_g
from logger.steady import Watcher

WATCH_STEP_S = 10.0


def the_source_of(channel: str, sources: Sequence[Source], cart_file: Path) -> Source:
    """The source that carries `channel`. Raises ValueError naming the channels that the cart has."""
    for source in sources:
        if channel in source.channels:
            return source
    known = ", ".join(name for source in sources for name in source.channels)
    raise ValueError(f"{cart_file}: there is no channel {channel!r}; it has {known}")


class CalibrationSession:
    """say, ask: the terminal. sleep: seconds of this machine."""

    def __init__(
        self,
        cart_file: Path,
        cart: Cart,
        channel: str,
        source: Source,
        clock: Clock,
        say: Callable[[str], None],
        ask: Callable[[str], str],
        sleep: Callable[[float], None],
    ):
        self._file, self._cart, self._channel = cart_file, cart, channel
        self._say, self._ask, self._clock, self._sleep = say, ask, clock, sleep
        self._watchers = {name: Watcher(source, name, clock) for name in source.channels}
        self._bench = Bench(say, ask, self._watchers[channel].rest)

    def calibrate(self) -> int:
        """Guide, fit, ask whether to keep; 0 kept or not as the person wished."""
        unit = self._cart.channels[self._channel].unit
        self._say(f"Calibrating {self._channel} of {self._cart.id}, in {unit}.")
        scale = self._scale() if self._channel == "scale" and self._cart.scale else None
        points, calibration = guide(self._bench, self._channel, unit, scale)
        pairs = [[round(point.code, 1), point.value] for point in points]
        self._say(f"points = {pairs}")
        if self._ask(f"Write these into {self._file}? (yes or no) ").strip().lower() not in ("y", "yes"):
            self._say("Nothing changed.")
            return 0
        book.write_points(self._file, self._channel, pairs)
        residuals = [round(r, 4) for r in calibration.residuals]
        entry = {"what": "calibration", "channel": self._channel, "unit": unit, "points": pairs, "residuals": residuals}
        book.note(self._file, {**entry, "code_sd": [round(point.sd, 2) for point in points]})
        self._say(f"Kept. The log of all calibrations is {book.log_of(self._file)}.")
        return 0

    def check_weight(self, text: str) -> int:
        """Weigh a known mass, judge and keep it; 1 when it fails."""
        nominal_g = parse_mass_g(text)
        entries = book.noted(self._file, "check-weight", self._channel)
        earlier = [CheckWeight(book.day_of(e), e["nominal_g"], e["shown_g"]) for e in entries]
        check, verdict = scale_guide.check_weight(self._bench, nominal_g, self._scale(), earlier, time.time() / 86400)
        kept = {"nominal_g": nominal_g, "shown_g": round(check.shown_g, 3), "outcome": verdict.outcome}
        book.note(self._file, {"what": "check-weight", "channel": self._channel, **kept})
        return int(verdict.outcome == "fail")

    def corners(self) -> int:
        """One load at five places; 1 when where it stands matters."""
        return int(not scale_guide.corners(self._bench, self._scale()))

    def watch(self, minutes: float) -> int:
        """The empty platform for a while after switching on."""
        if not 1 <= minutes <= 24 * 60:
            raise ValueError(f"--watch {minutes:g}: give between 1 and 1440 minutes")
        scale = self._scale()
        self._ask("Clear the platform and leave it alone, then press Enter. ")
        start, t_s, zero_g, temp_c = self._clock.now(), [], [], []
        while self._clock.now() - start < minutes * 60:
            t_s.append(self._clock.now() - start)
            zero_g.append(self._watchers[self._channel].window(2.0).value)
            if "ambient_temp" in self._watchers:
                temp_c.append(self._watchers["ambient_temp"].window(0.0).value)
            self._sleep(self._clock.real_s(WATCH_STEP_S))
        scale_guide.watch_empty(self._say, t_s, zero_g, temp_c, scale[1])
        return 0

    def _scale(self) -> tuple[ScaleClass, float]:
        if self._channel != "scale" or self._cart.scale is None:
            raise ValueError(f'{self._file}: add [scale] with class = "III" and e_g, and name the channel scale')
        return self._cart.scale.accuracy_class, self._cart.scale.e_g
