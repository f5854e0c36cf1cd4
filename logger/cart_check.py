"""One look at every sensor of a cart at rest: seen, at its rate, quiet, alive, plausible; a line each, with a mend."""

from __future__ import annotations

import secrets
import shutil
import socket
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import numpy as np

from firmware_bridge.blocks import INVALID_CODE
from firmware_bridge.cart import Cart, HttpConfig, MqttConfig
from firmware_bridge.channel import ChannelConfig
from firmware_bridge.clock import Clock
from firmware_bridge.source import Source, SourceError
from logger.broker import answers
from logger.measure.atmosphere import standard_pressure_pa
from logger.publish.broker_link import BrokerLink
from logger.publishers import settings_of
from logger.wallclock import WallClock, to_text

Outcome = Literal["good", "look", "bad"]

AT_REST = {
    "scale": (-50.0, 60_000.0),
    "low_side": (-102.0, 2_000.0),
    "high_side": (-102.0, 3_000.0),
    "vacuum": (-50.0, 120_000.0),
    "barometer": (60.0, 110.0),
    "ambient_temp": (-30.0, 60.0),
    "vent_temp": (-30.0, 80.0),
    "container_temp": (-40.0, 60.0),
    "suction_temp": (-40.0, 90.0),
    "liquid_temp": (-40.0, 110.0),
    "humidity": (0.0, 100.0),
}
"""Between which values a channel of a cart at rest must lie, in its unit; wide, for a hint and not for a verdict."""

AT_ZERO = {
    "scale": (20.0, "g", "empty the platform, then tare it or calibrate"),
    "low_side": (15.0, "kPa", "open the port to air, or calibrate its zero"),
    "high_side": (35.0, "kPa", "open the port to air, or calibrate its zero"),
}
"""How near to zero an empty scale and an open port read: about 1 % of a usual transducer's span; our choice."""

BAROMETER_OFF_KPA = 4.0
"""Weather moves the pressure by less than this about that of the standard atmosphere (common practice, no source)."""

HX711_RAILS, ADS1115_RAILS = (-(2**23), 2**23 - 1), (-(2**15), 2**15 - 1)

NOISY = {"scale": 5.0, "low_side": 10.0, "high_side": 20.0, "barometer": 0.3}
"""Scatter of single readings beyond which a sensor at rest is worth a look, in its unit; our choice."""

RATE_SHARE = 0.2
LEAST_FREE_MB = 500
BROKER_S = 3.0


@dataclass(frozen=True, slots=True)
class Line:
    """What was seen of one thing, and the mend where there is something to mend."""

    outcome: Outcome
    what: str
    text: str

    def __str__(self) -> str:
        return f"{self.outcome:<5} {self.what:<15} {self.text}"


@dataclass(frozen=True, slots=True)
class Look:
    """Everything one channel gave within `seconds`: float64 and int32 (n,)."""

    seconds: float
    values: np.ndarray
    codes: np.ndarray


def check_sources(sources: Sequence[Source], cart: Cart, clock: Clock, seconds: float) -> list[Line]:
    """Read each source for `seconds`, one after the other, and judge its channels."""
    lines: list[Line] = []
    for source in sources:
        lines += _check_source(source, cart, clock, seconds)
    return lines


def judge(config: ChannelConfig, look: Look, reason: str, altitude_m: float = 0.0) -> Line:
    """Judge what one channel gave. reason: the driver's own word on it, "" when it has none. altitude_m: the cart's."""
    valid = look.codes != INVALID_CODE
    if not valid.any():
        return Line(
            "bad", config.name, f"nothing valid came: {reason or 'check its wires and its place in the cart file'}"
        )
    values, codes = look.values[valid], look.codes[valid]
    rate, scatter = len(look.codes) / look.seconds, float(np.std(values))
    seen = (
        f"{float(np.mean(values)):.2f} {config.unit}, scatter {scatter:.2g}, {rate:.1f} readings a second, "
        f"{len(np.unique(codes))} different codes"
    )
    faults = _faults(config, float(np.mean(values)), scatter, codes, rate, altitude_m)
    if not valid.all():
        faults.append(
            ("look", f"{int((~valid).sum())} of {len(valid)} readings invalid: {reason or 'check its wires'}")
        )
    worst: Outcome = "bad" if any(o == "bad" for o, _ in faults) else "look" if faults else "good"
    return Line(worst, config.name, "; ".join([seen, *(text for _, text in faults)]))


def check_disk(folder: Path) -> Line:
    """Room for sessions in the data folder."""
    existing = next(path for path in [folder, *folder.parents] if path.exists())
    free_mb = shutil.disk_usage(existing).free // 2**20
    if free_mb < LEAST_FREE_MB:
        return Line("bad", "storage", f"{free_mb} MB free at {existing}: free some space before a session")
    return Line("good", "storage", f"{free_mb} MB free at {existing}")


def check_clock(wall: WallClock) -> Line:
    """Whether the date and time of day are known."""
    if wall.trusted():
        return Line("good", "clock", f"it is {to_text(wall.now())}")
    mend = "join a network that has the time, or fit a clock with a battery"
    return Line("look", "clock", f"time of day not known: {mend}; sessions are dated once it is")


def check_page(http: HttpConfig, wall: WallClock) -> Line:
    """Whether the page can be served as the cart file asks, and for how long still."""
    if http.certificate is None:
        return Line("good", "page", "served in clear text; [http] certificate and key put it under TLS")
    from web.certificate import read_certificate

    try:
        certificate = read_certificate(Path(http.certificate), Path(http.key))
    except ValueError as error:
        return Line("bad", "page", str(error))
    if wall.trusted() and (doubt := certificate.doubt(wall.now().timestamp())):
        return Line("look", "page", doubt)
    return Line("good", "page", f"under TLS until {certificate.ends}, for {', '.join(certificate.names) or 'no name'}")


def check_broker(mqtt: MqttConfig | None) -> Line:
    """Whether a broker is where one should be, and lets the cart in."""
    if mqtt is None:
        return Line("good", "broker", "none in the cart file; the cart works without")
    place = f"{mqtt.host}:{mqtt.port}"
    try:
        socket.create_connection((mqtt.host, mqtt.port), timeout=BROKER_S).close()
    except OSError as error:
        text = f"no answer at {place} ({error.strerror or error}): start it, or mend [mqtt]"
        return Line("look", "broker", f"{text}; alerts are kept until it answers")
    if not mqtt.tls and not answers(mqtt.host, mqtt.port, BROKER_S):
        return Line("look", "broker", f"what answers at {place} speaks no MQTT: mend host and port of [mqtt]")
    try:
        kept_out = _kept_out(BrokerLink(settings_of(mqtt), f"tarebook-check-{secrets.token_hex(4)}"))
    except ValueError as error:
        kept_out = str(error)
    if kept_out:
        text = f"{kept_out}: mend username, password_file or TLS of [mqtt]"
        return Line("look", "broker", f"{text}; alerts are kept until the cart is let in")
    return Line("good", "broker", f"lets {mqtt.username or 'the cart'} in at {place}")


def _kept_out(link: BrokerLink) -> str:
    """Why the broker does not let the cart in, "" when it does."""
    until_s = time.monotonic() + BROKER_S
    while not link.up and time.monotonic() < until_s and "refuses" not in link.status:
        link.tend()
        time.sleep(0.02)
    why = "" if link.up else link.status
    link.close()
    return why


def _check_source(source: Source, cart: Cart, clock: Clock, seconds: float) -> list[Line]:
    try:
        source.open()
        looks = _read(source, clock, seconds)
    except SourceError as error:
        return [Line("bad", name, str(error)) for name in source.channels]
    finally:
        reasons = {h.channel: h.reason for h in source.health() if h.quality != "good"}
        counted = {name: count for name, count in source.counters().items() if count}
        source.close()
    lines = [judge(cart.channels[name], look, reasons.get(name, ""), cart.altitude_m) for name, look in looks.items()]
    if counted:
        lines.append(Line("good", source.name, ", ".join(f"{name} {count}" for name, count in counted.items())))
    return lines


def _read(source: Source, clock: Clock, seconds: float) -> dict[str, Look]:
    """The first readings show when the source has woken up; the look begins with them."""
    gathered: dict[str, list] = {name: [] for name in source.channels}
    end = clock.now() + 2 * seconds
    woke: float | None = None
    while clock.now() < (end if woke is None else woke + seconds):
        for block in source.read(0.1):
            woke = clock.now() if woke is None else woke
            gathered[block.channel].append(block)
    lasted = seconds if woke is None else clock.now() - woke
    return {name: _look(blocks, lasted) for name, blocks in gathered.items()}


def _look(blocks: list, seconds: float) -> Look:
    values = [block.value for block in blocks] or [np.empty(0)]
    codes = [block.code for block in blocks] or [np.empty(0, np.int32)]
    return Look(seconds, np.concatenate(values), np.concatenate(codes))


def _not_at_rest(name: str, value: float, altitude_m: float) -> str:
    """Why a value is not that of an empty scale, an open port or the air at this altitude, "" when it is."""
    if name in AT_ZERO:
        most, unit, mend = AT_ZERO[name]
        return f"not within {most:g} {unit} of zero: {mend}" if abs(value) > most else ""
    if name == "barometer":
        usual_kpa = standard_pressure_pa(altitude_m) / 1000
        if abs(value - usual_kpa) > BAROMETER_OFF_KPA:
            return f"{usual_kpa:.0f} kPa is usual at {altitude_m:g} m: mend altitude_m or its points"
    return ""


def _saturated(config: ChannelConfig, codes: np.ndarray) -> int:
    """How many readings lie at an end of the converter's range, where that is known."""
    if config.name == "scale":
        low, high = HX711_RAILS
    elif config.source == "ads1115" and config.options.get("supply_input") is None:
        low, high = ADS1115_RAILS
    else:
        return 0
    return int(np.count_nonzero((codes <= low) | (codes >= high)))


def _faults(
    config: ChannelConfig, value: float, scatter: float, codes: np.ndarray, rate: float, altitude_m: float
) -> list[tuple[Outcome, str]]:
    faults: list[tuple[Outcome, str]] = []
    low, high = AT_REST[config.name]
    if not low <= value <= high:
        mend = "check its points in the cart file, its range and its wires"
        faults.append(("bad", f"not between {low:g} and {high:g} {config.unit}: {mend}"))
    elif reason := _not_at_rest(config.name, value, altitude_m):
        faults.append(("look", reason))
    at_end = _saturated(config, codes)
    if at_end:
        mend = "take the load off, check wires and gain"
        faults.append(("bad", f"{at_end} of {len(codes)} readings at the end of the converter's range: {mend}"))
    if abs(rate - config.rate_hz) > RATE_SHARE * config.rate_hz + 0.2:
        faults.append(
            ("look", f"the cart file says {config.rate_hz:g} a second: mend rate_hz, or the link loses readings")
        )
    if scatter > NOISY.get(config.name, float("inf")):
        faults.append(("look", "restless: still the cart, check shielding and supply"))
    if config.name == "scale" and len(codes) > 20 and len(np.unique(codes)) == 1:
        faults.append(("bad", "the code never changes, as no live load cell does: check its wires"))
    return faults
