"""What other programs rely on: routes, shapes, problem documents."""

from __future__ import annotations

import gzip
import json
import re

import pytest
from fake_port import filling
from jsonschema import Draft202012Validator

READ_ROUTES = [
    "/api/now",
    "/api/sessions",
    "/api/sessions/s-0",
    "/api/visits?registration=AB1",
    "/api/sessions/s-0/findings",
    "/api/sessions/s-0/readings?channel=scale&points=10",
    "/healthz",
    "/api/openapi.json",
]
PAGES = [
    "/",
    "/sessions",
    "/sessions/s-0",
    "/sessions/s-1",
    "/sessions/s-0/replay",
    "/review",
    "/containers",
    "/containers/R-7",
    "/cart",
    "/pair",
]


def template_of(document: dict, path: str) -> str:
    plain = path.split("?")[0]
    return next(t for t in document["paths"] if re.fullmatch(re.sub(r"\{\w+\}", "[^/]+", t), plain))


def no_nan(name: str):
    raise AssertionError(f"{name} in JSON")


@pytest.mark.parametrize("path", READ_ROUTES)
def test_answers_fit_the_document(client, path):
    document = client.get("/api/openapi.json").get_json()
    answer = client.get(path)
    assert answer.status_code == 200
    body = json.loads(answer.data, parse_constant=no_nan)
    declared = document["paths"][template_of(document, path)]["get"]["responses"]["200"]["content"]["application/json"]
    if "schema" in declared:
        Draft202012Validator({**declared["schema"], "components": document["components"]}).validate(body)


def test_document_holds_exactly_the_routes(app, client):
    document = client.get("/api/openapi.json").get_json()
    described = {(m.upper(), p) for p, methods in document["paths"].items() for m in methods}
    served = set()
    for rule in app.url_map.iter_rules():
        if rule.rule in PAGES or rule.rule.startswith(("/static/", "/sessions/<", "/containers/<")):
            continue
        served |= {(m, re.sub(r"<(\w+)>", r"{\1}", rule.rule)) for m in rule.methods - {"HEAD", "OPTIONS"}}
    assert described == served


def test_document_is_openapi_3_1(client):
    validator = pytest.importorskip("openapi_spec_validator", reason="checks the document where it is installed")
    document = client.get("/api/openapi.json").get_json()
    assert document["openapi"].startswith("3.1")
    validator.validate(document)


def test_now_says_what_to_do_and_keeps_every_key(client, port):
    now = client.get("/api/now").get_json()
    assert {"t_utc", "session_id", "stage", "clock_trusted", "channels", "charge", "alerts"} <= set(now)
    assert now["charge"]["remaining_g"] == pytest.approx(620 - 5.2 * 80)
    assert now["glance"] == {"do": "Filling. Leave the valve as it is.", "hero": "remaining"}


def test_what_could_not_be_judged_is_null(client, port):
    port.shown = filling()
    port.shown["channels"]["low_side"]["value"] = float("nan")
    assert client.get("/api/now").get_json()["channels"]["low_side"]["value"] is None


def test_sessions_newest_first(client):
    ids = [row["session_id"] for row in client.get("/api/sessions").get_json()["sessions"]]
    assert ids == ["s-1", "s-0"]


def test_few_points_hide_no_peak(client):
    whole = client.get("/api/sessions/s-0/readings?channel=low_side&points=4000").get_json()
    few = client.get("/api/sessions/s-0/readings?channel=low_side&points=5").get_json()
    assert len(few["t_s"]) <= 5 < len(whole["t_s"])
    assert max(few["high"]) == max(whole["high"]) and min(few["low"]) == min(whole["low"])


def test_window_of_readings(client):
    part = client.get("/api/sessions/s-0/readings?channel=scale&from_s=20&to_s=30&points=50").get_json()
    assert part["t_s"] and all(19 <= t <= 31 for t in part["t_s"])


@pytest.mark.parametrize(
    ("path", "status", "names"),
    [
        ("/api/sessions/none", 404, "none"),
        ("/api/sessions/none/findings", 404, "none"),
        ("/api/sessions/s-0/readings", 400, "channel"),
        ("/api/sessions/s-0/readings?channel=nose", 400, "nose"),
        ("/api/sessions/s-0/readings?channel=scale&points=0", 400, "points"),
        ("/api/sessions/s-0/readings?channel=scale&points=1e9", 400, "points"),
        ("/api/sessions/s-0/readings?channel=scale&from_s=nan", 400, "from_s"),
        ("/api/sessions/s-0/readings?channel=scale&from_s=9&to_s=3", 400, "from_s"),
        ("/api/nothing", 404, "URL"),
    ],
)
def test_bad_requests_get_a_problem_that_names_the_thing(client, path, status, names):
    answer = client.get(path)
    assert answer.status_code == status
    assert answer.mimetype == "application/problem+json"
    problem = answer.get_json()
    assert problem["status"] == status and problem["title"] and names in problem["detail"]


def test_wrong_method_is_a_problem(client):
    answer = client.delete("/api/now")
    assert answer.status_code == 405 and answer.mimetype == "application/problem+json"
    assert "GET" in answer.headers["Allow"]


def test_own_failure_is_a_problem_without_its_inside(client, port, caplog):
    port.now = lambda: 1 / 0
    answer = client.get("/api/now")
    assert answer.status_code == 500 and answer.mimetype == "application/problem+json"
    assert b"ZeroDivision" not in answer.data and "ZeroDivision" in caplog.text


def test_metrics_in_prometheus_text(client):
    text = client.get("/metrics").get_data(as_text=True)
    assert 'tarebook_reading{channel="low_side",unit="kPa"}' in text
    for line in text.splitlines():
        assert line.startswith("# ") or re.fullmatch(r"[a-z_]+(\{[^}]*\})? -?[0-9.e+-]+", line), line
    names = [line.split()[2] for line in text.splitlines() if line.startswith("# TYPE")]
    assert len(names) == len(set(names))


@pytest.mark.parametrize("path", PAGES)
def test_pages_stand_without_scripts_and_load_nothing_from_elsewhere(client, path):
    answer = client.get(path)
    text = answer.get_data(as_text=True)
    assert answer.status_code == 200 and answer.mimetype == "text/html"
    assert not re.findall(r"""(?:src|href|action)=["'](?:https?:)?//""", text)
    assert not re.findall(r"<script(?![^>]*\bsrc=)", text), "inline script"
    assert not re.findall(r"\sstyle=|<style|\son\w+=", text), "inline style or handler"
    policy = answer.headers["Content-Security-Policy"]
    assert "default-src 'none'" in policy and "unsafe" not in policy


def test_live_page_shows_figures_without_scripts(client):
    text = client.get("/").get_data(as_text=True)
    assert 'id="hero" data-digits="3">204<' in text
    assert "1341 kPa" in text or re.search(r"13\d\d kPa", text.replace("\u2009", ""))


@pytest.mark.parametrize("path", ["/", "/api/openapi.json"])
def test_long_answers_are_packed_only_for_who_takes_it(client, path):
    plain, packed = client.get(path), client.get(path, headers={"Accept-Encoding": "gzip"})
    assert "Content-Encoding" not in plain.headers and packed.headers["Content-Encoding"] == "gzip"
    assert gzip.decompress(packed.data) == plain.data and packed.headers["Vary"] == "Accept-Encoding"
