"""The report, read back by a reader of its own (pdftotext), and the review of a whole store."""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
from dataclasses import replace
from html.parser import HTMLParser

import pytest

from logger.measure.marks import Mark
from logger.record.decisions import decide
from logger.record.gists import session_gists
from logger.record.importing import add_recording
from logger.record.reader import StoreReader
from logger.record.recording import read_recording
from logger.record.report import main, report
from logger.record.report_axes import round_steps
from logger.record.report_data import ReportData
from logger.record.report_label import label_rows
from logger.record.report_units import UnitsError, units_of
from logger.record.store import Store
from logger.replay import replay
from logger.session.shop_review import shop_review

LONG = " ".join(f"word{k}" for k in range(230))
EVERYTHING_LONG = {
    **dict.fromkeys(("technician", "certificate", "leak_method", "leak_place", "repair", "notes"), LONG),
    "registration": "X" * 1500,
    "complaint": "W" * 2000,
    "oil_type": "\n".join("P" * 990),
    "parts": [{"part": f"part {k}", "oil_ml": 1} for k in range(60)],
    "leak_verdict": "found",
    "repair_done": True,
}
JOB = {
    "technician": "Żaneta Müller <b>",
    "certificate": "T-0000",
    "odometer_km": 128400,
    "vin": "1G4AH59H45G118341",
    "parts": [{"part": "condenser", "oil_ml": 30}],
    "leak_verdict": "found",
    "repair_done": True,
}
CHARGED, DRIED = "sim-44b1ee3b", "sim-726be425"


@pytest.fixture(scope="module")
def store(recordings, tmp_path_factory):
    """A charge with all that a job notes, and a vacuum hold without one."""
    path = tmp_path_factory.mktemp("report") / "tarebook.db"
    kept = Store.open(path)
    for name in ("single-cylinder", "hold-moisture"):
        recording = read_recording(recordings / f"{name}.zip")
        recording = replace(recording, session={**recording.session, "shop": "Example Garage, 1 Example Road"})
        if name == "single-cylinder":
            told = [Mark(1.0, "note", {"job": JOB}), Mark(1.0, "container_on", {"label": "R-7 <left>"})]
            marks = [*told, *recording.marks]
            recording = replace(recording, marks=marks)
        add_recording(kept, recording, replay(recording))
    decide(kept, CHARGED, "returned", "A. Reviewer", "too much in it", "2024-06-12T09:00:00Z")
    kept.close()
    return path


def text_of(pdf: bytes) -> str:
    if not shutil.which("pdftotext"):
        pytest.skip("pdftotext (poppler) is not installed")
    ran = subprocess.run(["pdftotext", "-layout", "-", "-"], input=pdf, capture_output=True, check=True)
    return re.sub(r"\s+", " ", ran.stdout.decode())


def test_the_first_page_says_it_in_plain_words(store):
    text = text_of(report(StoreReader(store), CHARGED))
    assert "619 g of R-134a went in (± 2.4 g)" in text
    assert "486 to 514 g: this is 105 g too much" in text and "Not in order" in text
    assert "Żaneta Müller <b>, certificate T-0000" in text and "1G4AH59H45G118341" in text and "128400 km" in text
    assert "charge" in text and "Pressure, kPa gauge" in text and "Deep vacuum, Pa absolute" in text


def test_the_second_page_says_what_it_rests_on(store):
    text = text_of(report(StoreReader(store), CHARGED))
    for part in ("charge within the label", "SAE J2788", "Expanded uncertainty U", "stop-charging", "into the vehicle"):
        assert part in text
    assert "too much in it" in text and "condenser" in text
    assert re.search(r"Label On Off For .* R-7 <left> 0:\d\d:\d\d", text)
    assert "beside approved service equipment and certified people, never in their place" in text


def test_what_to_write_on_the_label(store):
    """Refrigerant and charge, SAE J639; the rest 40 CFR 82 subpart G appendices C and D; nothing that was not noted."""
    label = text_of(report(StoreReader(store), CHARGED)).split("For the vehicle's label and file")[1]
    for said in ("Refrigerant R-134a Charge 619 g Oil added 30 ml", "certificate T-0000", "Company Example Garage, 1"):
        assert said in label
    assert "Dye" not in label and "flammable" not in label and "Only what was noted stands here" in label
    assert "For the vehicle's label" not in text_of(report(StoreReader(store), DRIED))


@pytest.mark.parametrize(
    ("found", "setup", "charge"),
    [
        ({"evacuation": {"lowest_pa": 20.0}}, {"refrigerant": "R-1234yf"}, "500 g"),
        ({}, {"refrigerant": "R-152a"}, "500 g added to what was there, which was not weighed"),
    ],
)
def test_a_label_says_what_burns_and_what_was_only_added(found, setup, charge):
    findings = {"charge": {"delivered_g": 500.0}, "job": {"oil_type": "PAG 46"}, **found}
    rows = dict(label_rows(ReportData({"setup": setup}, findings, {}), units_of("metric")))
    assert rows["Charge"] == charge and "flammable (ASHRAE 34 class A2" in rows["Refrigerant"]
    assert rows["Kind of oil"] == "PAG 46" and "Date" not in rows and "Technician" not in rows


def test_however_much_is_noted_the_first_page_is_one(store, recordings, tmp_path):
    recording = read_recording(recordings / "single-cylinder.zip")
    kept = Store.open(tmp_path / "tarebook.db")
    marks = [Mark(1.0, "note", {"job": EVERYTHING_LONG}), *recording.marks]
    for session_id, day in ((CHARGED, "2025-01-02T08:00:00Z"), ("before", "2024-01-02T08:00:00Z")):
        session = {**recording.session, "session_id": session_id, "started_utc": day, "shop": LONG * 5}
        told = replace(recording, session=session, marks=marks)
        add_recording(kept, told, replay(told))
    decide(kept, CHARGED, "returned", LONG, "\n".join("n" * 900), "2025-01-03T09:00:00Z")
    kept.close()
    text = text_of(report(StoreReader(kept.path), CHARGED))
    first, rest = text.split("What the result rests on")
    assert "· page 1" in first and "· page 2" not in first and "Deep vacuum" in first and "… (whole on page 2)" in first
    assert "Here before once" in first and "This vehicle before" in rest
    assert "word229" not in first and rest.count("word229") >= 6 and "In full" in rest.split("· page 2")[0]


def test_the_reader_chooses_the_units(store):
    """619.2 g are 21.84 avoirdupois ounces (28.349523125 g each, NIST SP 811)."""
    text = text_of(report(StoreReader(store), CHARGED, units="us"))
    assert "21.84 oz of R-134a" in text and "17.1 to 18.1 oz" in text and "79784 miles" in text and "psi" in text
    assert " kPa" not in text.split("What the result rests on")[0]


def test_no_charge_is_said_so(store):
    text = text_of(report(StoreReader(store), DRIED))
    assert "No refrigerant was charged" in text and "water is still inside" in text and "hold: moisture" in text


@pytest.mark.parametrize("form", [".pdf", ".html"])
def test_the_same_session_gives_the_same_bytes(store, form, tmp_path):
    here = report(StoreReader(store), CHARGED, form)
    path = tmp_path / f"there{form}"
    command = [sys.executable, "-m", "logger.record.report", str(store), CHARGED, "-o", str(path)]
    subprocess.run(command, check=True, timeout=60)
    assert path.read_bytes() == here


class Page(HTMLParser):
    """Every start is ended; what it shows; what it would load."""

    VOID = ("meta", "br")

    def __init__(self, text: str):
        super().__init__()
        self.open: list[str] = []
        self.shown, self.loads = "", []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.loads += [value for name, value in attrs if name in ("src", "href", "xlink:href")]
        if tag not in self.VOID:
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        self.shown += data


def test_the_page_is_whole_and_loads_nothing(store):
    text = report(StoreReader(store), CHARGED, ".html").decode()
    page = Page(text)
    assert page.open == [] and page.loads == [] and text.count("<svg") == 4
    assert "Żaneta Müller <b>" in page.shown and "105 g too much" in page.shown
    clips = re.findall(r'id="([^"]+)"', text)
    assert len(clips) == len(set(clips))


@pytest.mark.parametrize(
    ("arguments", "word"),
    [
        (["nobody", "-o", "r.pdf"], "nobody"),
        ([CHARGED, "-o", "r.doc"], ".pdf or .html"),
        ([CHARGED, "-o", "no/r.pdf"], "no/"),
    ],
)
def test_what_cannot_be_made_is_one_line(store, arguments, word, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert main([str(store), *arguments]) == 2
    (line,) = capsys.readouterr().err.splitlines()
    assert word in line and list(tmp_path.iterdir()) == []


def test_units_turn_texts_too():
    us = units_of("us")
    assert us.reworded("±15 g, or within the label") == "±0.53 oz, or within the label"
    assert us.reworded("486 to 514 g") == "17.14 to 18.13 oz" and us.reworded("at most 67 Pa") == "at most 503 micron"
    assert us.reworded("Lost 60 ± 16 g/year") == "Lost 2.12 ± 0.56 oz/year" and us.reworded("5 g/s") == "5 g/s"
    assert units_of("metric").reworded("15 g") == "15 g" and us.temperature_text(100.0) == "212 °F"
    assert us.vacuum_text(2027.0) == "15200 micron" and us.vacuum_text(10.0) == "75 micron"
    assert us.pressure_text(6894.757) == "1000 psi" and us.mass_text(-0.0) == "0.00 oz"
    with pytest.raises(UnitsError, match="metric or us"):
        units_of("stones")


def test_axes_have_round_steps():
    assert round_steps(0.0, 10.0, 5) == [0.0, 2.0, 4.0, 6.0, 8.0, 10.0]
    assert round_steps(-105.0, 1400.0, 5) == [0.0, 500.0, 1000.0]


def test_gists_say_what_the_findings_say(store):
    """What SQLite picks out gives the same review as the whole findings."""
    reader = StoreReader(store)
    assert shop_review(session_gists(reader)) == shop_review(reader.all_findings())
    assert shop_review(session_gists(reader))["sessions"] == 2
