"""marks.csv: what the technician told the logger, checked row by row."""

from __future__ import annotations

import csv
import difflib
import io
import json
import math

from logger.measure.marks import MARKS, STAGES, Mark
from logger.record.errors import RecordingError
from logger.record.json_text import load_json

CONTAINER_MASSES = ("nominal_g", "tare_g", "water_capacity_g")
HEADER = ["t_s", "mark", "detail"]


def parse_marks(raw: bytes) -> list[Mark]:
    """The marks in order. Raises RecordingError, one line that names the row (the header is row 1)."""
    try:
        rows = list(csv.reader(io.StringIO(raw.decode("utf-8-sig"), newline=""), strict=True))
    except (UnicodeDecodeError, csv.Error) as error:
        raise RecordingError(f"marks.csv: {error}: save it as UTF-8 CSV") from None
    if not rows or rows[0] != HEADER:
        raise RecordingError("marks.csv row 1: the header must be t_s,mark,detail")
    marks = [_mark(cells, number) for number, cells in enumerate(rows[1:], start=2)]
    for number, (before, after) in enumerate(zip(marks, marks[1:], strict=False), start=3):
        if after.t_s < before.t_s:
            raise RecordingError(
                f"marks.csv row {number}: t_s {after.t_s!r} is before {before.t_s!r} of the row above: "
                "sort the rows by t_s"
            )
    return marks


def check_mark(mark: Mark) -> str | None:
    """What is wrong with a mark, with the mend; None where nothing is."""
    if not math.isfinite(mark.t_s) or mark.t_s < 0:
        return f"t_s {mark.t_s!r} is not a time: write seconds from the session's start"
    if mark.mark not in MARKS:
        return f"mark {mark.mark!r} is not known{_nearest(mark.mark, MARKS)}"
    checks = {"stage": _check_stage, "compressor": _check_compressor, "container_on": _check_container}
    check = checks.get(mark.mark)
    return check(mark.detail) if check else _check_text(mark)


def format_marks(marks: list[Mark]) -> str:
    """The text of a marks.csv."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(HEADER)
    for mark in marks:
        detail = json.dumps(mark.detail, ensure_ascii=False, allow_nan=False) if mark.detail else ""
        writer.writerow([repr(mark.t_s), mark.mark, detail])
    return out.getvalue()


def _mark(cells: list[str], number: int) -> Mark:
    if len(cells) != 3:
        raise RecordingError(
            f"marks.csv row {number}: {len(cells)} fields instead of three: write t_s,mark,detail, "
            'and a detail in quotes with its own quotes doubled: "{""stage"": ""charging""}"'
        )
    mark = Mark(_time(cells[0], number), cells[1], _detail(cells[2], number))
    wrong = check_mark(mark)
    if wrong:
        raise RecordingError(f"marks.csv row {number}: {wrong}")
    return mark


def _time(text: str, number: int) -> float:
    try:
        t_s = float(text) if "_" not in text else math.nan
    except ValueError:
        t_s = math.nan
    if not math.isfinite(t_s):
        raise RecordingError(f"marks.csv row {number}: t_s {text[:40]!r} is not a finite number: write seconds")
    return t_s


def _detail(text: str, number: int) -> dict:
    if not text:
        return {}
    try:
        detail = load_json(text)
    except (ValueError, RecursionError) as error:
        raise RecordingError(f"marks.csv row {number}: detail is not JSON ({error}): mend or empty it") from None
    if not isinstance(detail, dict):
        raise RecordingError(f"marks.csv row {number}: detail must be a JSON object or empty")
    return detail


def _check_stage(detail: dict) -> str | None:
    stage = detail.get("stage")
    if isinstance(stage, str) and stage in STAGES:
        return None
    return f"stage {stage!r} is not known{_nearest(stage, STAGES)}"


def _check_compressor(detail: dict) -> str | None:
    return None if isinstance(detail.get("on"), bool) else 'detail must be {"on": true} or {"on": false}'


def _check_container(detail: dict) -> str | None:
    label = detail.get("label")
    if label is not None and not (isinstance(label, str) and label.strip()):
        return f"label {label!r} is not a text: write what is on the container, or leave it out"
    for key in CONTAINER_MASSES:
        mass_g = detail.get(key)
        number = isinstance(mass_g, (int, float)) and not isinstance(mass_g, bool)
        if mass_g is not None and not (number and math.isfinite(mass_g) and mass_g > 0):
            return f"{key} {mass_g!r} is not a mass: write grams above 0, or leave it out"
    return None


def _check_text(mark: Mark) -> str | None:
    key = {"ack": "code", "note": "text"}.get(mark.mark)
    if key is None or isinstance(mark.detail.get(key), str) or isinstance(mark.detail.get("job"), dict):
        return None
    return f'detail must be {{"{key}": "..."}}'


def _nearest(word: object, known: tuple[str, ...]) -> str:
    near = difflib.get_close_matches(str(word), known, 1)
    return f": did you mean {near[0]!r}?" if near else f": write one of {', '.join(known)}"
