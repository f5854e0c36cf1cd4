"""Requests made up from the API's own description, valid and not, to a real daemon: never a 5xx but 503."""

from __future__ import annotations

import hypothesis
import pytest
from bench_cart import SETUP, BenchCart

from logger.daemon import Daemon
from web.app import create_app

schemathesis = pytest.importorskip("schemathesis", reason="the test extra is not installed whole: no schemathesis")
STREAM = "/api/feed"
"""Open for a minute at a time; tests/web has its own tests of it."""
HEAVY = (
    "/api/sessions/{id}/report.pdf",
    "/api/sessions/{id}/report.html",
    "/api/sessions/{id}/recording.zip",
    "/api/sessions/{id}/moments",
    "/api/recordings",
    "/api/scale/tare",
    "/api/scale/empty",
    "/api/scale/check",
)
"""Each starts a process, or weighs for seconds; tests/web has them."""


@pytest.fixture(scope="module")
def api(tmp_path_factory):
    folder = tmp_path_factory.mktemp("http")
    bench = BenchCart(folder / "cart")
    daemon = Daemon(bench.cart(), folder / "data", clock=bench.clock, open_setup=SETUP)
    daemon.start()
    app = create_app(daemon.port, folder / "data")
    token = daemon.port.pairing.exchange(daemon.port.pairing.code())
    schema = schemathesis.openapi.from_wsgi("/api/openapi.json", app)
    yield schema.exclude(path=[STREAM, *HEAVY]), {"Authorization": f"Bearer {token}"}, daemon
    daemon.stop()
    bench.stop()


def test_no_request_is_an_error_of_the_server(api):
    schema, headers, daemon = api
    tried, wrong = 0, set()
    for operation in (found.ok() for found in schema.get_all_operations()):

        @hypothesis.settings(
            max_examples=8,
            deadline=None,
            database=None,
            derandomize=True,
            suppress_health_check=list(hypothesis.HealthCheck),
        )
        @hypothesis.given(case=operation.as_strategy())
        def ask(case):
            nonlocal tried
            tried += 1
            answer = case.call(headers=headers)
            if answer.status_code >= 500 and answer.status_code != 503:
                wrong.add((case.method, case.path, answer.status_code))

        ask()
    assert tried > 60
    assert not wrong
    assert daemon.port.now()["channels"]["scale"]["quality"] == "good"
