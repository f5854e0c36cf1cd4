"""What the page for other programs says, held against the program: views, topics, metrics, the queries it shows."""

from __future__ import annotations

import re
import sqlite3
from pathlib import Path

import pytest
from store_of_fills import add_fill

from logger.publish.topics import KINDS
from logger.record.store import Store
from web.operations import metrics_text

PAGE = (Path(__file__).resolve().parent.parent.parent / "web" / "other-programs.md").read_text("utf-8")


def rows_under(heading: str) -> list[list[str]]:
    """The cells of the first table below a heading, without its head."""
    part = PAGE.split(f"## {heading}\n")[1].split("\n## ")[0]
    lines = [line for line in part.splitlines() if line.startswith("| ")]
    return [[cell.strip() for cell in line.strip("| ").split(" | ")] for line in lines[2:]]


def words(cell: str) -> list[str]:
    return re.findall(r"`([^`]+)`", cell)


@pytest.fixture
def database(tmp_path):
    store = Store.open(tmp_path / "tarebook.db")
    add_fill(store, "cart-1")
    store.close()
    connection = sqlite3.connect(f"file:{tmp_path / 'tarebook.db'}?mode=ro", uri=True)
    yield connection
    connection.close()


def test_every_view_and_column_is_on_the_page(database):
    views = [name for (name,) in database.execute("SELECT name FROM sqlite_master WHERE type = 'view'")]
    said = {words(view)[0]: words(columns) for view, columns in rows_under("SQL")}
    assert set(said) == set(views)
    for view, columns in said.items():
        assert [column[0] for column in database.execute(f"SELECT * FROM {view}").description] == columns


def test_the_query_for_a_dashboard_gives_a_line_for_every_second(database):
    query = re.search(r"```sql\n(SELECT unix_s.*?)```", PAGE, re.DOTALL)[1].replace("low_side", "scale")
    rows = database.execute(query).fetchall()
    began = 1777887000  # 2026-05-04T09:30:00Z, of `date -d … +%s`
    assert [row[0] for row in rows] == list(range(began, began + 60))
    assert {row[1] for row in rows} == {"scale"} and rows[0][2] == pytest.approx(5000, abs=5)


def test_every_topic_is_on_the_page_with_its_service():
    said = {words(topic)[0]: service for topic, service, _ in rows_under("MQTT")}
    assert said == {kind.address: f"{kind.qos}, {'yes' if kind.retain else 'no'}" for kind in KINDS.values()}


def test_every_metric_is_on_the_page():
    now = {
        "channels": {"scale": {"value": 1.0, "unit": "g", "age_s": 0.1, "quality": "good"}},
        "charge": {"delivered_g": 1.0, "remaining_g": 1.0},
        "alerts": [],
        "session_id": None,
        "clock_trusted": True,
        "links": {"board": "ok"},
        "broker": "",
    }
    text = metrics_text(now, 0, {"engine": "ok"}, {"engine": {"turns": 1}})
    assert set(re.findall(r"# TYPE (\w+)", text)) == {name for row in rows_under("HTTP") for name in words(row[0])}
