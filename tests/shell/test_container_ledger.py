"""The container ledger beside a running cart and on the command line: booked as sessions close, by label."""

from __future__ import annotations

import json
import re

import pytest
from bench_cart import GROSS_G, SETUP, BenchCart, until

from logger.cli import main
from logger.daemon import Daemon
from logger.paths import store_path
from logger.record.containers import Containers, ledger
from logger.record.recording import write_recording
from logger.record.store import Store

CAN = {"label": "C-7", "kind": "refillable_cylinder", "refrigerant": "R-134a", "tare_g": 3000.0}


@pytest.fixture
def cart(tmp_path):
    made = BenchCart(tmp_path / "cart", speed=10.0)
    yield made
    made.stop()


@pytest.fixture
def port(cart, tmp_path):
    daemon = Daemon(cart.cart(), tmp_path / "data", clock=cart.clock)
    daemon.start()
    yield daemon.port
    daemon.stop()


def fill(port, cart, label):
    """Draw about 80 g from the container that stands there, said to be `label`; the findings."""
    port.open_session(SETUP)
    until(lambda: port.now()["charge"]["container_gross_g"])
    if label:
        port.mark({"mark": "container_on", "detail": {"label": label, "nominal_g": ""}})
    until(lambda: port.now()["t_s"] > 8)
    port.mark({"mark": "stage", "detail": {"stage": "charging"}})
    cart.flow_g_per_s = 6.0
    until(lambda: port.now()["charge"]["delivered_g"] > 80)
    cart.flow_g_per_s = 0.0
    until(lambda: abs(port.now()["charge"]["flow_g_per_s"]) < 0.1)
    return port.close_session()


def notices(port):
    return [alert for alert in port.now()["alerts"] if alert["code"] == "container-ledger"]


def test_a_labelled_container_is_booked_when_the_session_closes(port, cart, tmp_path, capsys):
    port.desk.add_container(**CAN, full_g=2000.0)
    findings = fill(port, cart, "C-7")
    (held,) = ledger(port.store)
    assert held["drawn_g"] == pytest.approx(findings["charge"]["containers"][0]["drawn_g"])
    assert held["drawn_g"] == pytest.approx(cart.drawn_g, abs=3.0)
    assert not notices(port)
    fill(port, cart, None)
    assert main(["containers", "--json", "--data", str(tmp_path / "data")]) == 0
    told = json.loads(capsys.readouterr().out)
    (held,) = told["containers"]
    assert held["scale"]["discrepancy_g"] == pytest.approx(GROSS_G - 5000.0, abs=3.0)
    (stay,) = told["unbooked"]
    assert stay["label"] is None and "no label was told" in stay["why"]


def test_a_labelled_cylinder_that_is_too_full_is_a_danger_live_and_in_a_replay(port, cart, tmp_path, capsys):
    port.desk.add_container(**CAN, full_g=2000.0, water_capacity_g=1900.0)
    port.open_session(SETUP)
    until(lambda: port.now()["charge"]["container_gross_g"])
    port.mark({"mark": "container_on", "detail": {"label": "C-7"}})
    until(lambda: "container-overfull" in {alert["code"] for alert in port.now()["alerts"]})
    port.close_session()
    (session,) = port.store.sessions()
    (mark,) = [mark for mark in port.store.marks(session["session_id"]) if mark.mark == "container_on"]
    assert mark.detail == {"label": "C-7", "tare_g": 3000.0, "water_capacity_g": 1900.0}
    assert main(["containers", "--data", str(tmp_path / "data")]) == 0
    assert "is over its limit by" in capsys.readouterr().out
    recording = tmp_path / "session"
    assert main(["export", session["session_id"], "-o", str(recording), "--data", str(tmp_path / "data")]) == 0
    capsys.readouterr()
    assert main(["replay", str(recording), "--json"]) == 0
    assert "container-overfull" in {alert["code"] for alert in json.loads(capsys.readouterr().out)["alerts"]}


def test_a_label_that_is_not_in_the_ledger_is_told_of_once(port, cart):
    fill(port, cart, "C-9")
    (alert,) = [a for a in port.store.alerts("bench-00001") if a["code"] == "container-ledger"]
    assert (alert["severity"], alert["message"]) == (
        "notice",
        "container C-9: it is not in the ledger: add it first",
    )
    assert not notices(port)
    with pytest.raises(ValueError, match="label 7 is not a text"):
        port.mark({"mark": "container_on", "detail": {"label": 7}})


def test_a_container_drawn_below_its_tare_is_told_of_until_it_is_seen(port, cart):
    port.desk.add_container(**CAN, full_g=40.0)
    fill(port, cart, "C-7")
    (alert,) = until(lambda: notices(port))
    assert "more than it holds, below its tare" in alert["message"]
    assert ledger(port.store)[0]["drawn_g"] == 0.0
    port.ack("container-ledger")
    assert not notices(port)


def test_an_imported_session_is_booked_like_a_live_one(port, cart, tmp_path, capsys):
    fill(port, cart, "C-7")
    write_recording(port.store.recording("bench-00001"), tmp_path / "r.zip")
    store = Store.open(store_path(tmp_path / "other"))
    Containers(store).add(**CAN, full_g=2000.0)
    store.close()
    data = ["--data", str(tmp_path / "other")]
    for _ in range(2):
        assert main(["import", str(tmp_path / "r.zip"), *data]) == 0
        assert "not booked" not in capsys.readouterr().out
        assert main(["containers", *data]) == 0
        out = capsys.readouterr().out
        drawn = re.search(r"drawn (\d+) g", out)
        assert float(drawn[1]) == pytest.approx(cart.drawn_g, abs=3.0)
        assert "the scale shows" in out and len(out.splitlines()) == 2
