"""The scale's part of the cart page and its API: tare, empty platform, check weight; paired phones only."""

from __future__ import annotations

import threading

import numpy as np
import pytest
from jsonschema import Draft202012Validator

from firmware_bridge.blocks import Block
from logger.learned_lag import learn
from logger.record.store import Store

ORDERS = ["/api/scale/tare", "/api/scale/empty", "/api/scale/check", "/api/valve"]


@pytest.fixture
def load(port):
    """load(g): what rests on the scale, read ten times a second until the test ends."""
    ended, at = threading.Event(), {"g": 0.0}

    def read():
        while not ended.wait(0.02):
            port.recent.take([Block("scale", np.array([port.clock.now()]), np.array([at["g"]]), None)])

    thread = threading.Thread(target=read)
    thread.start()
    yield lambda g: at.update(g=g)
    ended.set()
    thread.join()


@pytest.mark.parametrize("path", ORDERS)
def test_only_a_paired_phone_may(client, port, path):
    answer = client.post(path, json={"open": True, "mass": "2 kg"})
    assert answer.status_code == 401 and port.did == [] and port.scale.state()["checks"] == []


def test_a_check_weight_from_the_page_to_its_history(client, port, bearer, load):
    assert "<b>due</b>: no check with a weight is on record" in client.get("/cart").get_data(as_text=True)
    assert client.post("/api/scale/empty", headers=bearer).status_code == 200
    load(2012.0)
    told = client.post("/api/scale/check", json={"mass": "2 kg"}, headers=bearer)
    # class III, e = 5 g at 400 e: ±0.5 e on verification, ±1 e in service (Directive 2014/31/EU, Annex I, table 3)
    assert told.get_json()["outcome"] == "fail" and told.get_json()["limit_g"] == 5.0
    page = client.get("/cart", headers=bearer).get_data(as_text=True)
    assert "check weight" in page and ">+12.0<" in page and "Weigh it empty" in page
    assert "<b>due</b>: last checked with 2000 g on" in page
    assert "Weigh it empty" not in client.get("/cart").get_data(as_text=True)
    document = client.get("/api/openapi.json").get_json()
    schema = {**document["components"]["schemas"]["Scale"], "components": document["components"]}
    Draft202012Validator(schema).validate(client.get("/api/scale").get_json())


def test_what_makes_no_sense_is_a_problem_in_one_line(client, bearer, load):
    for path, body, status, words in [
        ("/api/scale/check", {"mass": "two"}, 422, "two"),
        ("/api/scale/check", {"mass": "2 kg"}, 422, "weigh it empty first"),
        ("/api/scale/tare", {"on": "perhaps"}, 400, "true"),
    ]:
        answer = client.post(path, json=body, headers=bearer)
        assert answer.status_code == status and words in answer.get_json()["detail"]


def test_a_form_without_scripts_comes_back_to_the_page(client, port, bearer, load):
    load(5000.0)
    port.recent.rest()
    answer = client.post("/api/scale/tare", data={"on": "true"}, headers=bearer)
    assert answer.status_code == 303 and answer.headers["Location"] == "/cart"
    assert port.scale.state()["tare_g"] == pytest.approx(5000.0)


def test_the_learned_lag_is_shown(client, port):
    assert "learned after five fills" in client.get("/cart").get_data(as_text=True)
    teach(port.writer)
    assert learn(port.writer, "bench") is not None
    port.shown = {**port.shown, "cart_id": "bench"}
    assert "2.0 s ± 0.1 s, learned from 6 fills" in client.get("/cart").get_data(as_text=True)


def teach(store: Store) -> None:
    store.close_session("s-1")
    channels = {"scale": {"unit": "g", "rate_hz": 10.0, "points": None}}
    for k in range(6):
        session_id = store.create_session({"cart_id": "bench", "refrigerant": "R-134a"}, channels, None, {})
        store.set_findings(session_id, {"charge": {"stop_alert_t_s": 10.0, "flow_ended_t_s": 11.9 + 0.1 * (k % 3)}})
        store.close_session(session_id)
