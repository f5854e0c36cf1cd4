"""What befalls the host while a fill runs through it, what must be told of it, and what must never come of it."""

from __future__ import annotations

import json
import random
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import numpy as np
from bench_cart import GROSS_G, until
from host_ills import go_on, hang, leave_descriptors, leave_memory, lift_limits
from ill_broker import IllBroker
from ill_fill import FLOW_G_PER_S, LAG_S, SESSION, TARGET_G, IllFill

Deed = Callable[[IllFill], None]
OFF_BY_G = 15.0
"""SAE J2788: what a charge may be off by."""
TOLD_S = 5.0
WAIT_S = 5.0
WATCH = b"GET /api/feed HTTP/1.1\r\nHost: cart\r\n\r\n"
FULL = ("storage-low", "recorder")
SLOW = ("storage-low", "disk")
YEAR_S = 365 * 86400.0


@dataclass(frozen=True)
class HostCase:
    """steps: what is done once so many grams have been drawn. told: alerts (code, subject) that must come within
    `TOLD_S` of the first step. whole: no reading may be missing; else what was acknowledged must be there. answers: the
    page never keeps one waiting for `WAIT_S`. anonymous: whether the broker lets the cart in; None without a broker."""

    name: str
    steps: tuple[tuple[float, Deed], ...] = ()
    told: tuple[tuple[str, str], ...] = ()
    whole: bool = True
    answers: bool = True
    anonymous: bool | None = None
    bare_board: bool = False
    full_only: bool = True


def disk(state: str) -> Deed:
    return lambda fill: fill.ills.disk(state)


def syncs(seconds: float) -> Deed:
    return lambda fill: fill.ills.slow_syncs(seconds)


def clock(to_s: float) -> Deed:
    return lambda fill: fill.ills.step_wall_clock(to_s)


def kill(fill: IllFill) -> None:
    fill.kill()


def stop_and_go(fill: IllFill) -> None:
    """The host gives the logger no time for a second."""
    hang(fill.logger.process.pid)
    fill.draw_to(fill.bench.drawn_g + 16.0)
    go_on(fill.logger.process.pid)


def memory(spare_bytes: int) -> Deed:
    return lambda fill: leave_memory(fill.logger.process.pid, spare_bytes)


def descriptors(spare: int) -> Deed:
    return lambda fill: leave_descriptors(fill.logger.process.pid, spare)


def crowd(count: int, says: bytes = WATCH) -> Deed:
    return lambda fill: fill.crowd(count, says)


def line(mode: str) -> Deed:
    return lambda fill: setattr(fill.broker, "mode", mode)


def time_comes(fill: IllFill) -> None:
    """The time of day becomes known: the clock is put right, years ahead."""
    fill.ills.step_wall_clock(0.0)
    fill.time_known.touch()


def one_after_the_other(*deeds: Deed) -> tuple[tuple[float, Deed], ...]:
    return tuple((20.0 + 100.0 * place / len(deeds), deed) for place, deed in enumerate(deeds))


CLOCK_STEPS = one_after_the_other(clock(86400.0), clock(-YEAR_S), clock(3600.0), clock(-1.0))


def kills(seed: int, count: int) -> tuple[tuple[float, Deed], ...]:
    rng = random.Random(seed)
    return tuple((grams, kill) for grams in sorted(rng.uniform(5.0, 130.0) for _ in range(count)))


def _disks() -> list[HostCase]:
    at_once = "disk full, then read-only, then failing"
    ills = one_after_the_other(disk("full"), disk("read-only"), disk("failing"))
    return [
        HostCase(at_once, ills, (FULL,), full_only=False),
        *(HostCase(f"disk {state}", ((30.0, disk(state)),), (FULL,)) for state in ("full", "read-only", "failing")),
        HostCase("disk slow: each sync takes 12 s", ((30.0, syncs(12.0)),), (SLOW,)),
        HostCase("disk slow: each sync takes 1 s", ((30.0, syncs(1.0)),)),
    ]


def _clocks() -> list[HostCase]:
    unknown = ((60.0, time_comes),)
    return [
        HostCase("wall clock stepped a day ahead, a year back, to and fro", CLOCK_STEPS),
        HostCase("wall clock a year back", ((30.0, clock(-YEAR_S)),)),
        HostCase("time unknown at the start, known in mid-fill", unknown, bare_board=True),
        HostCase("time unknown, and killed before it is known", ((30.0, kill), *unknown), (), False, False, None, True),
    ]


def _limits() -> list[HostCase]:
    ills = (crowd(100), crowd(60, b""), descriptors(8), memory(0))
    return [
        HostCase("100 dead phones, and little left to the program", one_after_the_other(*ills), full_only=False),
        HostCase("100 phones that watch and never read", ((30.0, crowd(100)),)),
        HostCase("300 connections that ask for nothing", ((30.0, crowd(300, b"")),)),
        HostCase("300 connections that never finish asking", ((30.0, crowd(300, b"GET / HT")),)),
        HostCase("no descriptor left, 60 more phones", ((30.0, descriptors(0)), (35.0, crowd(60, b""))), answers=False),
        HostCase("no memory left, 40 more phones", ((30.0, memory(0)), (35.0, crowd(40)))),
        HostCase("no time for the logger for a second", ((30.0, stop_and_go),), whole=False),
    ]


def _kills() -> list[HostCase]:
    return [
        HostCase("killed in mid-fill", ((60.0, kill),), (), False, False, full_only=False),
        *(HostCase(f"killed at three random instants ({s})", kills(s, 3), (), False, False) for s in range(1, 5)),
        HostCase("killed while the disk is slow", ((20.0, syncs(1.0)), (60.0, kill)), (), False, False),
    ]


def _brokers() -> list[HostCase]:
    modes = ("refusing", "silent", "slow", "flapping")
    alone = [HostCase(f"broker {mode}", ((20.0, line(mode)),), anonymous=True) for mode in modes]
    lines = one_after_the_other(*(line(mode) for mode in modes))
    both = tuple(sorted([*lines, *CLOCK_STEPS], key=lambda step: step[0]))
    at_once = "broker refusing, silent, slow, flapping, and the wall clock stepped to and fro"
    return [
        HostCase(at_once, both, anonymous=True, full_only=False),
        *alone,
        HostCase("broker gone, and killed", ((20.0, line("gone")), (60.0, kill)), (), False, False, True),
        HostCase("broker that does not let the cart in", anonymous=False),
    ]


def cases() -> list[HostCase]:
    return [*_disks(), *_clocks(), *_limits(), *_kills(), *_brokers()]


def try_case(case: HostCase, folder: Path) -> tuple[list[str], float]:
    """What did not hold, and how long it took until the last of what must be told was told (real s)."""
    broker = None if case.anonymous is None else IllBroker(folder / "broker", case.anonymous)
    fill = IllFill(folder, broker.port if broker else None, case.bare_board)
    fill.broker = broker
    try:
        if case.bare_board:
            fill.ills.step_wall_clock(-5 * YEAR_S)
        fill.begin()
        wrong, told_s = _suffer(case, fill)
        fill.finish()
        wrong += _of_broker(case, fill)
        status = fill.end()
        return wrong + ([] if status == 0 else [f"ended with {status}"]) + _judge(case, fill), told_s
    finally:
        fill.close()
        if broker:
            broker.close()


def _suffer(case: HostCase, fill: IllFill) -> tuple[list[str], float]:
    """Everything happens, the stop is said, all is told; then the host is well again."""
    struck_s = None
    for grams, deed in case.steps:
        fill.draw_to(grams)
        struck_s = struck_s or time.monotonic()
        deed(fill)
    until(lambda: fill.bench.flow_g_per_s == 0.0, 60)
    heard = [until(lambda told=told: fill.told(*told, struck_s)) for told in case.told]
    told_s = max((each.at_s - struck_s for each in heard), default=0.0)
    wrong = [f"told after {told_s:.1f} s"] if told_s > TOLD_S else []
    fill.ills.disk("well")
    fill.ills.slow_syncs(0.0)
    lift_limits(fill.logger.process.pid)
    if fill.broker:
        fill.broker.mode = "well"
    until(lambda: not {(a["code"], a["subject"]) for a in fill.now()["alerts"]} & set(case.told))
    return wrong, told_s


def _of_broker(case: HostCase, fill: IllFill) -> list[str]:
    """Every alert of the record reaches those who listen."""
    if case.anonymous is None:
        return []
    if not case.anonymous:
        return [] if "refuses" in fill.now()["broker"] else [f"broker: {fill.now()['broker']}"]
    wanted = {alert["seq"] for alert in fill.reader.alerts(SESSION)}
    heard = fill.broker.listener.wait_payloads("/alert", lambda said: wanted <= {_seq(each) for each in said})
    return [] if heard else ["alerts that never reached the broker"]


def _judge(case: HostCase, fill: IllFill) -> list[str]:
    wrong = []
    due_g = TARGET_G - LAG_S * FLOW_G_PER_S
    for gone_g, back_g in fill.outages:
        due_g = back_g if gone_g <= due_g <= back_g else due_g  # a program that is gone says nothing until it is back
    if fill.stop_g is None or abs(fill.stop_g - due_g) > OFF_BY_G:
        wrong.append("no stop" if fill.stop_g is None else f"stop off by {fill.stop_g - due_g:.0f} g")
    waits = [waited for _, waited, answered in fill.phone.asked if not answered or waited > WAIT_S]
    if case.answers and waits:
        wrong.append(f"the page kept one waiting {len(waits)} times, for {max(waits):.1f} s")
    lost = {each.data["seq"] for each in fill.phone.alerts()} - {a["seq"] for a in fill.reader.alerts(SESSION)}
    wrong += [f"alerts told and not kept: {sorted(lost)}"] if lost else []
    if any("Traceback" in each for logger in fill.loggers for each in logger.lines):
        wrong.append("a traceback")
    return wrong + _of_record(case, fill) + _of_time(case, fill)


def _of_record(case: HostCase, fill: IllFill) -> list[str]:
    t_s, value = fill.scale()
    readings = len(fill.reader.recording(SESSION).rows)
    wrong = []
    if case.whole and np.diff(t_s).max() > 0.35:
        lost = f"{fill.lost_on_the_wire} frames lost on the wire"
        wrong.append(f"{np.diff(t_s).max():.1f} s of readings missing, {lost}")
    if readings < fill.acknowledged:
        wrong.append(f"{fill.acknowledged - readings} acknowledged readings lost")
    if abs(GROSS_G - value[-1] - fill.bench.drawn_g) > 0.1:
        wrong.append("the last weight is not the true one")
    return wrong


def _of_time(case: HostCase, fill: IllFill) -> list[str]:
    """A session begun without the time of day is dated right once it is known."""
    if not case.bare_board:
        return []
    wrong = [] if fill.told("clock-untrusted") else ["that the time is unknown was not told"]
    began = datetime.fromisoformat(fill.reader.session(SESSION)["started_utc"] or "1970-01-01T00:00:00Z").timestamp()
    return wrong + ([] if abs(began - fill.began_utc) < 3.0 else [f"dated {began - fill.began_utc:.0f} s off"])


def _seq(payload: str) -> int:
    return json.loads(payload)["seq"]
