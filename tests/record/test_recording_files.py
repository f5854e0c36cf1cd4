"""Recordings as files: exact both ways, and every fault one line that names the place and the mend."""

from __future__ import annotations

import io
import json
import math
import zipfile
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from logger.measure.marks import Mark
from logger.record import recording_read
from logger.record.readings_csv import parse_readings
from logger.record.recording import Recording, RecordingError, read_recording, write_recording
from logger.record.recording_write import write_zip
from logger.record.rows import Rows

SESSION = {
    "format": "tarebook-recording",
    "version": 1,
    "session_id": "s-1",
    "cart_id": "cart-1",
    "started_utc": "2024-06-11T08:15:00Z",
    "refrigerant": "R-134a",
    "placard": {"low_g": 480, "high_g": 520},
    "of_another_program": {"kept": [1, 2.5, None, "°"]},
    "channels": {"scale": {"unit": "g", "rate_hz": 10}, "vacuum": {"unit": "Pa", "rate_hz": 2, "serial": "x"}},
}
READINGS = "t_s,channel,value\n0.023,scale,-1.57\n0.086,vacuum,41.5\n0.123,scale,\n0.123,vacuum,2700.0\n0.5,scale,3\n"
MARKS = 't_s,mark,detail\n0.123,stage,"{""stage"": ""charging""}"\n0.4,purge,\n0.5,note,"{""text"": ""a, b""}"\n'


def files(**changed: str) -> dict[str, str]:
    """The three files of a sound recording, some of them changed (None: left out)."""
    kept = {"session.json": json.dumps(SESSION), "readings.csv": READINGS, "marks.csv": MARKS}
    kept.update({name.replace("_", "."): text for name, text in changed.items()})
    return {name: text for name, text in kept.items() if text is not None}


def folder(path: Path, **changed: str) -> Path:
    """Those files in a folder."""
    path.mkdir()
    for name, text in files(**changed).items():
        (path / name).write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def complaint(path: Path) -> str:
    """The one line that reading `path` ends with."""
    with pytest.raises(RecordingError) as error:
        read_recording(path)
    assert "\n" not in str(error.value)
    return str(error.value)


def same(a: Recording, b: Recording) -> bool:
    """Equal to the last bit."""
    columns = [(getattr(a.rows, n), getattr(b.rows, n)) for n in ("t_s", "channel", "value")]
    return (
        a.session == b.session
        and a.marks == b.marks
        and all(
            np.array_equal(x.view(np.int64) if x.dtype == float else x, y.view(np.int64) if y.dtype == float else y)
            for x, y in columns
        )
    )


def test_a_recording_as_folder_and_as_zip_is_the_same(tmp_path):
    found = read_recording(folder(tmp_path / "a"))
    write_recording(found, tmp_path / "b.zip")
    assert same(found, read_recording(tmp_path / "b.zip"))
    assert found.session == SESSION
    assert found.rows.t_s.tolist() == [0.023, 0.086, 0.123, 0.123, 0.5]
    assert math.isnan(found.rows.value[2])
    assert found.marks[0] == Mark(0.123, "stage", {"stage": "charging"})


def test_a_mark_comes_after_every_reading_of_its_time(tmp_path):
    found = read_recording(folder(tmp_path / "a"))
    order = [x if isinstance(x, Mark) else [(b.channel, b.t_s.tolist()) for b in x] for x in found.batches()]
    assert order == [
        [("scale", [0.023, 0.123]), ("vacuum", [0.086, 0.123])],
        found.marks[0],
        found.marks[1],
        [("scale", [0.5])],
        found.marks[2],
    ]


number = st.one_of(
    st.floats(allow_nan=False, allow_infinity=False),
    st.decimals(-10000, 10000, places=3).map(float),
    st.just(math.nan),
)
moment = st.one_of(st.floats(0, 1e5), st.integers(0, 10**8).map(lambda ms: ms / 1000))
recordings_made = st.builds(
    lambda readings, marks: Recording(
        SESSION,
        Rows(
            np.array(sorted(r[0] for r in readings)),
            np.array([r[1] for r in readings], np.uint8),
            np.array([r[2] for r in readings], float),
        ),
        [Mark(t_s, "note", {"text": text}) for t_s, text in sorted(marks)],
    ),
    st.lists(st.tuples(moment, st.integers(0, 1), number), min_size=1, max_size=30),
    st.lists(st.tuples(moment, st.text(st.characters(exclude_categories=["Cs"]), max_size=8)), max_size=5),
)


@settings(max_examples=80, deadline=None)
@given(recordings_made)
def test_written_and_read_again_every_bit_and_byte_is_the_same(recording):
    first, second = io.BytesIO(), io.BytesIO()
    write_zip(recording, first)
    again = read_recording(io.BytesIO(first.getvalue()))
    write_zip(again, second)
    assert same(recording, again)
    assert first.getvalue() == second.getvalue()


@settings(max_examples=80, deadline=None)
@given(recordings_made, st.one_of(st.none(), st.integers(1, 7)))
def test_batches_of_any_size_hold_all_in_order(recording, size):
    items = list(recording.batches(size))
    seen = -1.0
    times = {name: [] for name in recording.channels}
    for item in items:
        if isinstance(item, Mark):
            assert seen <= item.t_s
            continue
        assert size is None or 0 < sum(len(block) for block in item) <= size
        assert min(block.t_s[0] for block in item) >= seen
        seen = max(block.t_s[-1] for block in item)
        for block in item:
            times[block.channel] += block.t_s.tolist()
    for k, name in enumerate(recording.channels):
        assert times[name] == recording.rows.t_s[recording.rows.channel == k].tolist()
    assert [item for item in items if isinstance(item, Mark)] == recording.marks


@settings(max_examples=300, deadline=None)
@given(st.from_regex(r"[+-]?([0-9]{0,12}\.?[0-9]{0,12})([eE][+-]?[0-9]{1,3})?", fullmatch=True), st.integers(1, 20))
def test_numbers_are_read_as_python_reads_them(text, cut):
    raw = f"t_s,channel,value\n1.5,scale,{text}\n".encode()
    pieces = [raw[i : i + cut] for i in range(0, len(raw), cut)]
    try:
        want = float(text) if text else math.nan
    except ValueError:
        want = math.inf
    if math.isinf(want):
        with pytest.raises(RecordingError, match="row 2: value"):
            parse_readings(pieces, ["scale"])
        return
    found = parse_readings(pieces, ["scale"]).value
    assert found.view(np.int64).tolist() == np.array([want]).view(np.int64).tolist()


def test_quotes_and_carriage_returns_of_a_spreadsheet_are_read(tmp_path):
    quoted = READINGS.replace("scale", '"scale"').replace("\n", "\r\n")
    assert same(read_recording(folder(tmp_path / "a")), read_recording(folder(tmp_path / "b", readings_csv=quoted)))


@pytest.mark.parametrize("name", ["session.json", "readings.csv", "marks.csv"])
def test_a_missing_file_is_named(tmp_path, name):
    path = folder(tmp_path / "a", **{name.replace(".", "_"): None})
    assert f"{name} is missing" in complaint(path)


@pytest.mark.parametrize(
    ("rows", "says"),
    [
        ("0.5,scale,1\n0.4,scale,1\n", "row 3: t_s 0.4 is before 0.5"),
        ("-0.5,scale,1\n", "row 2: t_s -0.5 is before the session's start"),
        ("0.5,scale,nan\n", "row 2: value 'nan' is not a finite number: leave it empty"),
        ("0.5,scale,inf\n", "row 2: value 'inf' is not a finite number"),
        ("0.5,scale,1e999\n", "row 2: value '1e999' is not a finite number"),
        ("0.5,scale,1_0\n", "row 2: value '1_0' is not a finite number"),
        ("nan,scale,1\n", "row 2: t_s 'nan' is not a finite number"),
        (",scale,1\n", "row 2: t_s '' is not a finite number"),
        ("0.5,scale,1\n0.6,sclae,1\n", "row 3: channel 'sclae' is not declared in session.json"),
        ("0.5,high_side,1\n", "row 2: channel 'high_side' is not declared"),
        ("0.5,scale,1\n0.6,scale\n", "row 3: 2 fields instead of three"),
        ('0.5,scale,"1,5"\n', "row 2: 4 fields instead of three"),
        ("0.5,scale,1\n\n", "row 3: 1 field instead of three"),
        ('0.5,scale,"1\n', "near row 2"),
    ],
)
def test_a_bad_reading_names_its_row(tmp_path, rows, says):
    path = folder(tmp_path / "a", readings_csv="t_s,channel,value\n" + rows)
    assert says in complaint(path)


def test_a_bad_row_far_down_is_named(tmp_path):
    rows = "".join(f"{k / 10!r},scale,{k}\n" for k in range(200_000))
    path = folder(tmp_path / "a", readings_csv="t_s,channel,value\n" + rows + "9.0,scale,1\n")
    assert "row 200002: t_s 9.0 is before 19999.9" in complaint(path)


@pytest.mark.parametrize("text", ["", "time,channel,value\n1,scale,1\n", "\n"])
def test_a_missing_header_is_named(tmp_path, text):
    assert "t_s,channel,value" in complaint(folder(tmp_path / "a", readings_csv=text))


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"format": "other"}, "format is 'other'"),
        ({"version": 2}, "version 2 is newer than 1: update"),
        ({"version": "1"}, "version is '1'"),
        ({"session_id": ""}, "session_id is ''"),
        ({"cart_id": 5}, "cart_id is 5"),
        ({"started_utc": "yesterday"}, "started_utc is 'yesterday'"),
        ({"started_utc": "2024-13-11T08:15:00Z"}, "started_utc is '2024-13-11T08:15:00Z'"),
        ({"refrigerant": None}, "refrigerant is missing"),
        ({"placard": {"low_g": -1, "high_g": 2}}, "low_g: -1 must be above 0"),
        ({"channels": []}, "channels must be an object"),
        ({"channels": {"scales": {"unit": "g", "rate_hz": 1}}}, "channels.scales is not a known channel: did you mean"),
        ({"channels": {"scale": {"unit": "kg", "rate_hz": 1}}}, "channels.scale.unit is 'kg': values of scale must"),
        ({"channels": {"scale": {"unit": "g", "rate_hz": 0}}}, "channels.scale.rate_hz is 0"),
        ({"channels": {"scale": {"unit": "g"}}}, "channels.scale.rate_hz is None"),
    ],
)
def test_a_bad_key_is_named(tmp_path, change, says):
    assert says in complaint(folder(tmp_path / "a", session_json=json.dumps({**SESSION, **change})))


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("{", "session.json line 1"),
        ("[1]", "one JSON object"),
        ('{"version": NaN}', "NaN is no JSON number"),
        ('{"version": 1e999}', "out of range"),
        ('{"note": "\\ud800"}', "surrogates"),
        ('{"channels": {"scale": {}, "scale": {}}}', "'scale' stands there twice"),
        (b"\xff\xfe{}", "not UTF-8"),
        ("[" * 100_000, "session.json"),
    ],
)
def test_what_is_no_json_is_one_line(tmp_path, text, says):
    assert says in complaint(folder(tmp_path / "a", session_json=text))


@pytest.mark.parametrize(
    ("row", "says"),
    [
        ("1.0,stages,", "mark 'stages' is not known: did you mean 'stage'"),
        ("1.0,stage,", "stage None is not known"),
        ('1.0,stage,"{""stage"": ""evacuatoin""}"', "did you mean 'evacuation'"),
        ("1.0,stage,{bad", "detail is not JSON"),
        ("1.0,purge,[1]", "detail must be a JSON object"),
        ("nan,purge,", "t_s 'nan' is not a finite number"),
        ("-1,purge,", "t_s -1.0 is not a time"),
        ("1.0,purge", "2 fields instead of three"),
        ('1.0,compressor,"{""on"": 1}"', 'detail must be {"on": true}'),
        ('1.0,container_on,"{""nominal_g"": -5}"', "nominal_g -5 is not a mass"),
        ("1.0,ack,", 'detail must be {"code": "..."}'),
        ("1.0,note,", 'detail must be {"text": "..."}'),
    ],
)
def test_a_bad_mark_names_its_row(tmp_path, row, says):
    found = complaint(folder(tmp_path / "a", marks_csv=f"t_s,mark,detail\n0.5,purge,\n{row}\n"))
    assert "marks.csv row 3" in found
    assert says in found


def test_marks_out_of_order_name_the_row(tmp_path):
    text = "t_s,mark,detail\n5.0,purge,\n4.0,purge,\n"
    assert "marks.csv row 3: t_s 4.0 is before 5.0" in complaint(folder(tmp_path / "a", marks_csv=text))


def zipped(path: Path, entries: dict[str, str] | list[tuple[str, str]]) -> Path:
    """A zip of these entries."""
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in entries.items() if isinstance(entries, dict) else entries:
            archive.writestr(name, text)
    return path


def test_a_zip_may_hold_one_folder_and_further_files(tmp_path):
    inner = {f"one/{name}": text for name, text in files().items()} | {"one/truth.json": "{", "photo.jpg": "x"}
    assert read_recording(zipped(tmp_path / "a.zip", inner)).session == SESSION


@pytest.mark.parametrize("name", ["../readings.csv", "/etc/x", "a/../../x", "..\\x", "C:x"])
def test_a_zip_with_a_path_outside_it_is_refused(tmp_path, name):
    assert "a path outside it" in complaint(zipped(tmp_path / "a.zip", files() | {name: "x"}))


@pytest.mark.filterwarnings("ignore:Duplicate name")
def test_a_zip_with_a_file_twice_is_refused(tmp_path):
    entries = [*files().items(), ("marks.csv", MARKS)]
    assert "marks.csv 2 times" in complaint(zipped(tmp_path / "a.zip", entries))


def test_a_zip_cut_short_anywhere_is_one_line(tmp_path):
    whole = zipped(tmp_path / "a.zip", files()).read_bytes()
    for size in range(0, len(whole) - 1, 37):
        (tmp_path / "b.zip").write_bytes(whole[:size])
        complaint(tmp_path / "b.zip")


def test_a_zip_with_a_byte_changed_is_one_line_or_the_same(tmp_path):
    whole = zipped(tmp_path / "a.zip", files()).read_bytes()
    wanted = read_recording(tmp_path / "a.zip")
    for at in range(0, len(whole), 11):
        (tmp_path / "b.zip").write_bytes(whole[:at] + bytes([whole[at] ^ 0x41]) + whole[at + 1 :])
        try:
            assert same(read_recording(tmp_path / "b.zip"), wanted)
        except RecordingError as error:
            assert "\n" not in str(error)


def test_what_unpacks_to_too_much_is_refused(tmp_path, monkeypatch):
    monkeypatch.setitem(recording_read.LIMITS_BYTES, "readings.csv", 1 << 20)
    bomb = zipped(tmp_path / "a.zip", files(readings_csv="t_s,channel,value\n" + "0.5,scale,1\n" * 100_000))
    assert bomb.stat().st_size < 10_000
    assert "readings.csv is larger than 1 MB" in complaint(bomb)
    assert "readings.csv is larger" in complaint(
        folder(tmp_path / "b", readings_csv="t_s,channel,value\n" + "0.5,scale,1\n" * 100_000)
    )


def test_a_size_that_lies_is_found_out(tmp_path, monkeypatch):
    monkeypatch.setitem(recording_read.LIMITS_BYTES, "readings.csv", 1 << 16)
    text = "t_s,channel,value\n" + "0.5,scale,1\n" * 100_000
    raw = zipped(tmp_path / "a.zip", files(readings_csv=text)).read_bytes()
    small = raw.replace(len(text).to_bytes(4, "little"), (100).to_bytes(4, "little"))
    assert small != raw
    (tmp_path / "b.zip").write_bytes(small)
    assert complaint(tmp_path / "b.zip")


def test_too_many_files_are_refused(tmp_path):
    many = files() | {f"x{k}": "" for k in range(1001)}
    assert "1004 files" in complaint(zipped(tmp_path / "a.zip", many))


def test_a_path_that_leads_nowhere_or_to_something_else_is_one_line(tmp_path):
    (tmp_path / "text.zip").write_text("hello")
    assert "neither a folder nor a zip" in complaint(tmp_path / "text.zip")
    assert "nothing at this path" in complaint(tmp_path / "none.zip")


def test_writing_replaces_nothing_and_leaves_nothing_half_written(tmp_path):
    found = read_recording(folder(tmp_path / "a"))
    (tmp_path / "b.zip").write_text("mine")
    with pytest.raises(RecordingError, match="something already"):
        write_recording(found, tmp_path / "b.zip")
    with pytest.raises(RecordingError):
        write_recording(found, tmp_path / "b.zip" / "c.zip")
    broken = Recording({**SESSION, "x": math.nan}, found.rows, found.marks)
    with pytest.raises(RecordingError, match="JSON"):
        write_recording(broken, tmp_path / "d.zip")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a", "b.zip"]


def test_the_example_recordings_come_back_unchanged(recordings, tmp_path):
    for source in sorted(recordings.glob("*.zip")):
        found = read_recording(source)
        write_recording(found, tmp_path / source.name)
        again = read_recording(tmp_path / source.name)
        assert same(found, again)
        with zipfile.ZipFile(source) as archive:
            lines = archive.read("readings.csv").decode().splitlines()[1:]
        cells = [line.split(",") for line in lines]
        assert found.rows.t_s.tolist() == [float(cell[0]) for cell in cells]
        want = np.array([float(cell[2] or "nan") for cell in cells])
        assert np.array_equal(found.rows.value, want, equal_nan=True)
