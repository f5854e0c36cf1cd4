"""The report's charts: the charge on the scale, pressures with saturation temperature, the vacuum with its verdict.

Low side blue and high side red as on service hoses; nothing else has a colour.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

from reportlab.graphics.shapes import Drawing, Line, Rect, String
from reportlab.lib.colors import HexColor

from logger.measure.atmosphere import absolute_pa, ambient_pressure
from logger.record.report_axes import BAND, INK, QUIET, Panel, Scale, axes, panel
from logger.record.report_data import ReportData, charge_window
from logger.record.report_units import Units, number
from logger.record.report_words import STAGES

LOW_SIDE, HIGH_SIDE = HexColor("#1f5fbf"), HexColor("#c0303a")
VACUUM_TOP_PA, DRY_PA = 20_000.0, 66.66
COLUMN, APART = (124.0, 150.0), 11.0
Fonts = tuple[str, str]
Size = tuple[float, float]


def plots(data: ReportData, units: Units, size: Size, fonts: Fonts) -> list[Drawing]:
    """Every chart this session has something to show in, each of that size (width, height) in points."""
    made = [draw(data, units, size, fonts) for draw in (_weight, _pressures, _vacuum)]
    return [drawing for drawing in made if drawing is not None]


def fill_column(data: ReportData, units: Units, fonts: Fonts) -> Drawing | None:
    """What went in as a column beside the label's range; None without a charge and a label."""
    charge = data.charge
    low, high, delivered = charge.get("placard_low_g"), charge.get("placard_high_g"), charge.get("delivered_g")
    if low is None or high is None or delivered is None:
        return None
    drawing = Drawing(*COLUMN)
    y = Scale(0.0, max(high, delivered) * 1.06, 4.0, COLUMN[1] - 4.0)
    low_y, high_y, filled_y = y.at(low), y.at(high), y.at(delivered)
    drawing.add(Rect(0, low_y, 36, high_y - low_y, fillColor=BAND, strokeColor=QUIET, strokeWidth=0.5))
    drawing.add(Rect(10, 4, 16, filled_y - 4, fillColor=INK, strokeColor=None))
    drawing.add(Line(0, 4, 36, 4, strokeColor=INK, strokeWidth=0.8))
    digits = 1 if units.us else 0
    label = "label " + units.mass_range(low, high).replace(" to ", "–")
    said = [((low_y + high_y) / 2 - 3, label, fonts[0]), (filled_y - 3, units.mass_text(delivered, digits), fonts[1])]
    last = -APART
    for wanted_y, words, font in sorted(said):
        last = max(wanted_y, last + APART)
        drawing.add(String(40, last, words, fontName=font, fontSize=8, fillColor=INK))
    return drawing


def _weight(data: ReportData, units: Units, size: Size, fonts: Fonts) -> Drawing | None:
    """The container's mass over the charge; over the whole session where nothing was charged."""
    series, window = data.weight or data.series.get("scale"), charge_window(data.findings)
    if not series or not series["t_s"] or not data.charge.get("containers"):
        return None
    times = window or (0.0, _end_s(data))
    low, high = _masses(data, series)
    title = f"Container on the scale, {units.mass}"
    p = panel(size, times, (units.in_mass(low), units.in_mass(high)), title, fonts)
    _shade_stages(p, data)
    axes(p, lambda v: number(v, 0))
    stop = data.charge.get("stop_alert_t_s")
    p.curve(series, INK, units.in_mass)
    if data.charged and stop is not None:
        p.instant(stop, "stop")
    return p.drawing


def _masses(data: ReportData, series: Mapping) -> tuple[float, float]:
    """The range to show: the containers' masses while charging, else all there is."""
    stays = [c for c in data.charge.get("containers") or [] if c.get("purpose", "charge") == "charge"]
    if data.charged and stays:
        low = min(c["gross_off_g"] for c in stays)
        high = max(c["gross_on_g"] for c in stays)
    else:
        low, high = min(series["low"]), max(series["high"])
    margin = max(0.08 * (high - low), 5.0)
    return low - margin, high + margin


def _pressures(data: ReportData, units: Units, size: Size, fonts: Fonts) -> Drawing | None:
    """Both sides on one gauge scale, with the refrigerant's saturation temperature at the right."""
    sides = [(name, color) for name, color in (("low_side", LOW_SIDE), ("high_side", HIGH_SIDE)) if name in data.series]
    sides = [(name, color) for name, color in sides if data.series[name]["t_s"]]
    if not sides:
        return None
    top = max(max(data.series[name]["high"]) for name, _ in sides)
    values = units.in_pressure(-105.0), units.in_pressure(max(top * 1.08, 200.0))
    title = f"Pressure, {units.pressure} gauge: low side blue, high side red; right: saturation, {units.temperature}"
    p = panel(size, (0.0, _end_s(data)), values, title, fonts)
    _shade_stages(p, data)
    axes(p, lambda v: number(v, 0), lambda v: _saturation_text(data, units, v))
    for name, color in sides:
        p.curve(data.series[name], color, units.in_pressure)
    return p.drawing


def _saturation_text(data: ReportData, units: Units, shown: float) -> str | None:
    gauge_kpa = shown / units.in_pressure(1.0)
    ambient_pa = ambient_pressure(None, data.setup.get("altitude_m")).pa
    temp_c = data.curve.temperature_c(absolute_pa(gauge_kpa, ambient_pa)) if data.curve else None
    return None if temp_c is None else number(units.in_temperature(temp_c), 0)


def _vacuum(data: ReportData, units: Units, size: Size, fonts: Fonts) -> Drawing | None:
    """The deep-vacuum sensor in decades while there was a vacuum, holds shaded with their verdicts."""
    series, times = data.series.get("vacuum"), _vacuum_window(data)
    if not series or not series["t_s"] or times is None:
        return None
    lowest = min(v for v in series["low"] if v > 0)
    bottom = 10.0 ** math.floor(math.log10(min(max(units.in_vacuum(lowest), 0.1), units.in_vacuum(DRY_PA) / 2)))
    top = 10.0 ** math.ceil(math.log10(units.in_vacuum(min(max(series["high"]), VACUUM_TOP_PA))))
    title = f"Deep vacuum, {units.vacuum} absolute, in decades"
    p = panel(size, times, (bottom, max(top, 10 * bottom)), title, fonts, log=True)
    for hold in data.findings.get("vacuum_hold") or []:
        p.span(hold["start_t_s"], hold["end_t_s"], f"hold: {hold['verdict']}")
    axes(p, lambda v: f"{v:g}")
    p.level(units.in_vacuum(DRY_PA), "500 micron" if units.us else "67 Pa (500 micron)")
    p.curve(series, INK, lambda pa: max(units.in_vacuum(pa), bottom))
    return p.drawing


def _vacuum_window(data: ReportData) -> tuple[float, float] | None:
    """From the first fall under full scale to a little after the last hold, or the whole session."""
    series = data.series.get("vacuum")
    if not series or not series["t_s"]:
        return None
    full = max(series["high"])
    below = [t for t, v in zip(series["t_s"], series["mean"], strict=True) if v < 0.98 * full]
    if not below:
        return None
    return max(below[0] - 60.0, 0.0), below[-1] + 60.0


def _shade_stages(p: Panel, data: ReportData) -> None:
    """Every other stage shaded, each named above."""
    entered = data.findings.get("stages") or []
    ends = [*(stage["t_s"] for stage in entered), _end_s(data)][1:]
    for k, (stage, end_s) in enumerate(zip(entered, ends, strict=True)):
        if stage["stage"] in STAGES and end_s > p.x.low and stage["t_s"] < p.x.high:
            p.span(stage["t_s"], end_s, STAGES[stage["stage"]], HexColor("#eef0f4" if k % 2 else "#f8f9fb"))


def _end_s(data: ReportData) -> float:
    return data.findings.get("duration_s") or data.session.get("duration_s") or 1.0
