"""The words of the demonstration."""

from __future__ import annotations

from logger.demo_text import progress, qr_code, result, welcome

NOW = {
    "t_s": 301.0,
    "stage": "charging",
    "channels": {"low_side": {"value": 210.4, "unit": "kPa"}},
    "charge": {"target_g": 520.0, "delivered_g": 317.24, "seconds_to_stop": 74.4},
}


def test_the_line_says_what_matters_at_each_stage():
    assert progress(NOW) == "  5:01  charging                     317.2 of 520 g  stop in 74 s"
    vacuum = {**NOW, "stage": "vacuum_hold", "channels": {"vacuum": {"value": 41.26}}}
    assert progress(vacuum).endswith("vacuum 41.3 Pa")
    assert progress({"t_s": 0.0, "stage": "", "channels": {}, "charge": {}}).split() == ["0:00", "getting", "ready"]


def test_the_code_is_square_and_of_the_address():
    lines = qr_code("http://127.0.0.1:8080/").splitlines()
    assert {len(line) for line in lines} == {29} and len(lines) == 15
    assert qr_code("http://127.0.0.1:8080/") != qr_code("http://127.0.0.1:8081/")


def test_the_welcome_names_page_and_broker():
    text = welcome("http://127.0.0.1:8080/", "http://10.0.0.7:8080/", 10, "mosquitto on port 1883", "314159")
    assert "code 314159" in text
    assert "http://127.0.0.1:8080/" in text and "mosquitto on port 1883" in text and "10 times real time" in text


def test_the_result_stands_beside_the_truth():
    findings = {
        "session_id": "s-1",
        "charge": {"target_g": 520.0, "delivered_g": 520.8, "uncertainty_g": 2.4},
        "vacuum_hold": [{"verdict": "tight"}],
        "alerts": [{"t_s": 65.0, "severity": "notice", "code": "stop-charging", "message": "Close the valve now"}],
    }
    text = result(findings, {"charge": {"delivered_g": 521.3}}, "/data")
    assert "Delivered   520.8 ± 2.4 g" in text and "weighed -0.5 g off" in text and "+1.3 g off target" in text
    assert "stop-charging" in text and "tight" in text and "session s-1 in /data" in text


def test_a_charge_that_was_not_judged_says_why():
    assert "not judged: no scale" in result({"charge": {"delivered_g": None, "why": "no scale"}}, {}, "/data")
