"""The charging valve from a paired phone's order to the board's pin: `tarebook run` in its own process, an emulated
board, and whatever should close it closing it."""

from __future__ import annotations

import json
import signal
import urllib.error
import urllib.request

import pytest
from bench_cart import SETUP, BenchCart, LoggerProcess, until

DEAD_MAN_S = 1.0
SLACK_S = 0.5
"""How late the emulated board's own thread may notice, on a busy machine."""
LAG_S = 0.4
MORE = f"""
[valve]
close_lag_s = {LAG_S}
[channel.high_side]
source = "board"
field = "hi"
unit = "kPa"
points = [[0, 0.0], [10000, 10000.0]]
[limits]
high_side_kpa = 2900
"""


class ValveCart(BenchCart):
    """Flows while its valve is open and for the valve's lag after; `hi_kpa` is on the high side, and the scale falls
    silent when told to."""

    def __init__(self, folder):
        self.hi_kpa, self.weighs, self._closed_s = 1200, True, 0.0
        super().__init__(folder, rates_hz={"w": 10.0, "lo": 5.0, "hi": 5.0, "t1": 1.0})
        self.flowing, self.flow_g_per_s = self._flowing, 8.0

    def _flowing(self) -> bool:
        if self.board.valve_open:
            self._closed_s = self.clock.now()
        return self.clock.now() - self._closed_s < LAG_S

    def _read(self, field: str) -> int | None:
        if field == "hi":
            return self.hi_kpa
        if field == "w" and not self.weighs:
            return None
        return super()._read(field)


class Phone:
    """Talks to the process's pages."""

    def __init__(self, process: LoggerProcess):
        self.url = process.wait_for("Page").split()[-1]
        code = process.wait_for("Pairing").split()[-1]
        self._token = ""
        self._token = self.post("api/token", {"code": code})["token"]

    def post(self, path: str, body: dict) -> dict:
        bearer = {"Authorization": f"Bearer {self._token}"} if self._token else {}
        headers = {"Content-Type": "application/json", **bearer}
        request = urllib.request.Request(self.url + path, json.dumps(body).encode(), headers, method="POST")
        with urllib.request.urlopen(request, timeout=20) as answer:
            return json.load(answer)

    def now(self) -> dict:
        with urllib.request.urlopen(self.url + "api/now", timeout=20) as answer:
            return json.load(answer)


@pytest.fixture
def cart(tmp_path):
    made = ValveCart(tmp_path / "cart")
    yield made
    made.stop()


@pytest.fixture
def run(cart, tmp_path):
    processes = []

    def make() -> LoggerProcess:
        processes.append(LoggerProcess(cart.file(more=MORE), tmp_path / "data"))
        return processes[-1]

    yield make
    for process in processes:
        process.close()


def fill(phone: Phone, cart: ValveCart, target_g: float = 300.0) -> None:
    """Begin a session and order the valve open, as a person would, until it is."""
    session_id = phone.post("api/sessions", {**SETUP, "target_g": target_g})["session_id"]
    phone.post(f"api/sessions/{session_id}/marks", {"mark": "stage", "detail": {"stage": "charging"}})
    until(lambda: phone.now()["channels"]["scale"]["quality"] == "good" and phone.now()["t_s"] > 4)
    until(lambda: phone.post("api/valve", {"open": True})["open"])
    until(lambda: cart.board.valve_open)


def test_a_killed_logger_leaves_a_closed_valve_and_the_next_does_not_open_it(cart, run):
    process = run()
    fill(Phone(process), cart)
    until(lambda: cart.drawn_g > 40)
    killed_s = cart.clock.now()
    process.end(signal.SIGKILL)
    until(lambda: not cart.board.valve_open)
    assert cart.board.valve_log[-1][0] - killed_s < DEAD_MAN_S + SLACK_S
    phone, moved = Phone(run()), len(cart.board.valve_log)
    until(lambda: phone.now()["session_id"] and phone.now()["channels"]["scale"]["quality"] == "good")
    until(lambda: phone.now()["charge"]["delivered_g"] > 40)
    assert not cart.board.valve_open and len(cart.board.valve_log) == moved
    assert phone.now()["valve"]["why"] == "no order"


def test_danger_silence_and_an_order_each_close_it_and_nothing_but_an_order_opens_it(cart, run):
    phone = Phone(run())
    fill(phone, cart)
    phone.post("api/valve", {"open": False})
    until(lambda: not cart.board.valve_open)
    phone.post("api/valve", {"open": True})
    until(lambda: cart.board.valve_open)
    cart.weighs = False
    until(lambda: not cart.board.valve_open)
    cart.weighs = True
    until(lambda: phone.now()["channels"]["scale"]["quality"] == "good")
    assert not cart.board.valve_open
    until(lambda: phone.post("api/valve", {"open": True})["open"])
    until(lambda: cart.board.valve_open)
    cart.hi_kpa = 3100
    until(lambda: not cart.board.valve_open)
    assert any(alert["severity"] == "danger" for alert in until(lambda: phone.now()["alerts"]))
    refused = phone.post("api/valve", {"open": True})
    assert not refused["open"] and "stands" in refused["why"]


def test_a_fill_through_the_valve_lands_and_an_unpaired_phone_has_no_say(cart, run):
    process = run()
    phone = Phone(process)
    fill(phone, cart, target_g=80.0)
    stranger = urllib.request.Request(phone.url + "api/valve", b'{"open": true}', method="POST")
    with pytest.raises(urllib.error.HTTPError) as refused:
        urllib.request.urlopen(stranger, timeout=20)
    assert refused.value.code == 401
    until(lambda: cart.drawn_g > 40)
    until(lambda: not cart.board.valve_open)
    until(lambda: not cart.flowing())
    assert cart.drawn_g == pytest.approx(80.0, abs=3.0)
