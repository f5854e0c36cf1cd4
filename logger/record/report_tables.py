"""The tables of the report's second page: what the result rests on."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from logger.record.report_data import ReportData
from logger.record.report_fit import pieces, room_of
from logger.record.report_label import RETROFIT, label_rows
from logger.record.report_units import Units
from logger.record.report_words import clock
from logger.session.scale_due import check_words

OUTCOMES = {  # nosec B105 - no password
    "pass": "pass",
    "fail": "FAIL",
    "marginal": "marginal",
    "not-judged": "not judged",
}

VISITS_SHOWN = 5


@dataclass(frozen=True, slots=True)
class Table:
    """One table of the second page; widths are shares of the page; why: a line under it. boxed: with a frame about it,
    to be copied from."""

    title: str
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    widths: tuple[float, ...]
    why: str = ""
    boxed: bool = False


def tables(data: ReportData, units: Units) -> list[Table]:
    """The second page, in order; empty ones left out."""
    found = [_criteria(data, units), _decisions(data), _containers(data, units), _parts(data, units)]
    found += [_before(data, units), _budget(data, units), _calibration(data), _alert_table(data), _label(data, units)]
    return [table for table in found if table.rows]


def in_full(said: Sequence[tuple[str, str]], most: int) -> list[Table]:
    """A table of those texts (heading, words) that the first page had to cut, with `most` characters for a note."""
    long = [(head, words) for head, words in said if len(words) > room_of(head, most)]
    rows = tuple(("" if k else head, piece) for head, words in long for k, piece in enumerate(pieces(words)))
    return [Table("In full", (), rows, (0.15, 0.85))] if rows else []


def _criteria(data: ReportData, units: Units) -> Table:
    rows = [_criterion(row, units) for row in data.findings["review"]]
    heads = ("Criterion", "Outcome", "Measured", "Limit", "At", "Source")
    return Table("What it was judged by", heads, tuple(rows), (0.23, 0.1, 0.12, 0.19, 0.08, 0.28))


def _criterion(row: Mapping, units: Units) -> tuple[str, ...]:
    why = f"\n{units.reworded(row['why'])}" if row["why"] and row["outcome"] != "pass" else ""
    measured, limit = units.measured_text(row["measured"], row["unit"]), units.reworded(row["limit"])
    return (row["criterion"] + why, OUTCOMES[row["outcome"]], measured, limit, clock(row["t_s"]), row["source"])


def _containers(data: ReportData, units: Units) -> Table:
    names = {
        "charge": "into the vehicle",
        "vented": "hose purge",
        "recovery": "recovered",
        "removed": "taken out again",
    }
    rows = [
        (
            data.labels.get(c["on_t_s"], "–"),
            clock(c["on_t_s"]),
            clock(c["off_t_s"]),
            names.get(c.get("purpose", "charge"), ""),
            units.mass_text(c["gross_on_g"], 1),
            units.mass_text(c["gross_off_g"], 1),
            units.mass_text(c["drawn_g"], 1),
        )
        for c in data.charge.get("containers") or []
    ]
    heads: tuple[str, ...] = ("Label", "On", "Off", "For", "Gross before", "Gross after", "Drawn")
    widths: tuple[float, ...] = (0.2, 0.1, 0.1, 0.18, 0.15, 0.14, 0.13)
    kept = data.charge.get("hose_residue_g")
    vented = data.charge.get("vented_g") or 0.0
    why = f"The hose keeps {units.mass_text(kept or 0.0, 1)}; vented {units.mass_text(vented, 1)}." if rows else ""
    if not data.labels:
        heads, widths, rows = heads[1:], (0.12, 0.12, 0.22, 0.18, 0.18, 0.18), [row[1:] for row in rows]
    return Table("Containers on the scale", heads, tuple(rows), widths, why)


def _budget(data: ReportData, units: Units) -> Table:
    rows = [
        (line["name"], units.mass_text(line["u_g"], 3 if units.us else 2), line["why"])
        for line in data.charge.get("budget") or []
    ]
    u = data.charge.get("uncertainty_g")
    why = f"Expanded uncertainty U = {units.mass_text(u, 2)}, k = 2 (JCGM 100)." if rows and u is not None else ""
    return Table("Uncertainty of the charge", ("Contribution", "u", "From"), tuple(rows), (0.24, 0.14, 0.62), why)


def _calibration(data: ReportData) -> Table:
    rows = [
        (name, channel["unit"], f"{channel['rate_hz']:g}", _points(channel["points"]) + _checked(name, data))
        for name, channel in data.session["channels"].items()
    ]
    heads = ("Channel", "Unit", "Readings a second", "Calibration: code = value")
    return Table("Sensors and their calibration", heads, tuple(rows), (0.2, 0.1, 0.18, 0.52))


def _checked(name: str, data: ReportData) -> str:
    """Under the scale's points: its last check with a weight, where the cart told of it."""
    check = data.findings.get("scale_check")
    return f"\n{check_words(check)}" if check and name == "scale" else ""


def _points(points: Sequence | None) -> str:
    if not points:
        return "values as recorded, calibrated before"
    return "; ".join(f"{code:.10g} = {value:g}" for code, value in points)


def _alert_table(data: ReportData) -> Table:
    rows = [
        (clock(a["t_s"]), a["severity"], a["code"], a["message"], clock(a.get("cleared_t_s")))
        for a in data.findings.get("alerts") or []
    ]
    return Table("Alerts", ("At", "Severity", "Alert", "Said", "Ended"), tuple(rows), (0.09, 0.1, 0.19, 0.53, 0.09))


def _label(data: ReportData, units: Units) -> Table:
    rows = tuple(label_rows(data, units))
    return Table("For the vehicle's label and file", (), rows, (0.2, 0.8), RETROFIT, boxed=True)


def _parts(data: ReportData, units: Units) -> Table:
    rows = [
        (
            part["part"],
            units.volume_text(part["oil_ml"]) if part.get("oil_ml") is not None else "–",
            part.get("note") or "",
        )
        for part in data.job.get("parts") or []
    ]
    return Table("Parts and oil", ("Part replaced", "Oil added", "Note"), tuple(rows), (0.35, 0.2, 0.45))


def _before(data: ReportData, units: Units) -> Table:
    """Earlier visits of the vehicle, the newest few."""
    rows = [
        (
            (visit["started_utc"] or "time unknown")[:10],
            visit["session_id"],
            units.mass_text(visit["recovered_g"]) if visit["recovered_g"] is not None else "–",
            units.mass_text(visit["delivered_g"]) if visit["delivered_g"] is not None else "–",
            ", ".join(visit["patterns"]) or "–",
            "; ".join(visit[key] for key in ("complaint", "leak_place", "repair") if visit[key]) or "–",
        )
        for visit in (data.before or {}).get("visits") or []
    ]
    more = f"{len(rows) - VISITS_SHOWN} earlier ones are not shown." if len(rows) > VISITS_SHOWN else ""
    heads = ("On", "Session", "Came out", "Went in", "Looked like", "Noted")
    widths = (0.12, 0.18, 0.1, 0.1, 0.2, 0.3)
    return Table("This vehicle before", heads, tuple(rows[:VISITS_SHOWN]), widths, more)


def _decisions(data: ReportData) -> Table:
    rows = [
        (
            "signed off" if d["decision"] == "signed" else "returned",
            d["reviewer"],
            (d["at_utc"] or "")[:16],
            d["note"] or "",
        )
        for d in data.session.get("decisions") or []
    ]
    return Table(
        "Review by a person", ("Decision", "Reviewer", "When (UTC)", "Note"), tuple(rows), (0.15, 0.25, 0.2, 0.4)
    )
