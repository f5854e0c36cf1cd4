"""One panel of a chart as shapes: axes with round numbers, curves that keep their peaks, spans and labels."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from reportlab.graphics.shapes import Drawing, Line, Polygon, PolyLine, Rect, String
from reportlab.lib.colors import Color, HexColor

INK = HexColor("#1d2330")
FAINT = HexColor("#c9ced8")
QUIET = HexColor("#6a7282")
SHADE = HexColor("#eef0f4")
BAND = HexColor("#dfe3ea")
LEFT, RIGHT, TOP, BOTTOM = 42.0, 34.0, 24.0, 22.0
SMALL = 7.5


@dataclass(frozen=True, slots=True)
class Scale:
    """Values low…high onto points from…to; log: evenly in decades."""

    low: float
    high: float
    start: float
    end: float
    log: bool = False

    def at(self, value: float) -> float:
        """The place of `value`, held within the panel."""
        value = min(max(value, self.low), self.high)
        low, high, value = (math.log10(v) if self.log else v for v in (self.low, self.high, value))
        return self.start + (value - low) / (high - low) * (self.end - self.start)


@dataclass(frozen=True, slots=True)
class Panel:
    """A panel being drawn: its drawing, and where times and values lie."""

    drawing: Drawing
    x: Scale
    y: Scale
    font: str
    bold: str

    def text(
        self, x: float, y: float, words: str, anchor: str = "start", color: Color = INK, bold: bool = False
    ) -> None:
        font = self.bold if bold else self.font
        self.drawing.add(String(x, y, words, fontName=font, fontSize=SMALL, fillColor=color, textAnchor=anchor))

    def span(self, from_s: float, to_s: float, words: str, color: Color = SHADE) -> None:
        """A stretch of time, its name above the panel where there is room for it."""
        a, b = self.x.at(from_s), self.x.at(to_s)
        self.drawing.add(Rect(a, self.y.start, b - a, self.y.end - self.y.start, fillColor=color, strokeColor=None))
        if b - a > 4.2 * len(words):
            self.text((a + b) / 2, self.y.end + 4, words, "middle", QUIET)

    def level(self, value: float, words: str) -> None:
        """A dashed line across, named at its right end."""
        y = self.y.at(value)
        dashed = Line(self.x.start, y, self.x.end, y, strokeColor=QUIET, strokeWidth=0.6, strokeDashArray=[3, 2])
        self.drawing.add(dashed)
        self.text(self.x.end - 2, y + 2.5, words, "end", QUIET)

    def instant(self, t_s: float, words: str) -> None:
        """A moment, as an upright line with its name beside it."""
        x = self.x.at(t_s)
        self.drawing.add(Line(x, self.y.start, x, self.y.end, strokeColor=INK, strokeWidth=0.9))
        self.text(x + 3, self.y.end - 9, words, bold=True)

    def curve(self, series: dict, color: Color, turned: Callable[[float], float] = lambda v: v) -> None:
        """Mean as a line over a pale stretch from lowest to highest, so that no peak is lost."""
        kept = [k for k, t in enumerate(series["t_s"]) if self.x.low <= t <= self.x.high]
        if len(kept) < 2:
            return
        x = [self.x.at(series["t_s"][k]) for k in kept]
        low, high, mean = ([self.y.at(turned(series[name][k])) for k in kept] for name in ("low", "high", "mean"))
        around = _pairs(x, high) + _pairs(x[::-1], low[::-1])
        pale = Color(color.red, color.green, color.blue, 0.25)
        self.drawing.add(Polygon(around, fillColor=pale, strokeColor=None))
        self.drawing.add(PolyLine(_pairs(x, mean), strokeColor=color, strokeWidth=1.0))


def panel(
    size: tuple[float, float],
    times: tuple[float, float],
    values: tuple[float, float],
    title: str,
    fonts: tuple[str, str],
    log: bool = False,
) -> Panel:
    """An empty panel of that size in points, titled, with its axes' scales."""
    width, height = size
    drawing = Drawing(width, height)
    x = Scale(times[0], max(times[1], times[0] + 1.0), LEFT, width - RIGHT)
    y = Scale(values[0], values[1], BOTTOM, height - TOP, log)
    made = Panel(drawing, x, y, *fonts)
    made.text(0, height - 9, title, bold=True)
    return made


def axes(p: Panel, show: Callable[[float], str], right: Callable[[float], str | None] | None = None) -> None:
    """Frame, time in minutes, values at the left, and where `right` is given what they mean at the right."""
    for value in _decades(p.y) if p.y.log else round_steps(p.y.low, p.y.high, 5):
        y = p.y.at(value)
        p.drawing.add(Line(p.x.start, y, p.x.end, y, strokeColor=FAINT, strokeWidth=0.4))
        p.text(p.x.start - 4, y - 2.6, show(value), "end")
        other = right(value) if right else None
        if other:
            p.text(p.x.end + 4, y - 2.6, other)
    minutes = p.x.low / 60.0, p.x.high / 60.0
    for minute in round_steps(*minutes, 8):
        x = p.x.at(minute * 60.0)
        p.drawing.add(Line(x, p.y.start, x, p.y.start - 3, strokeColor=INK, strokeWidth=0.5))
        p.text(x, p.y.start - 12, f"{minute:g}", "middle")
    p.text(p.x.end + 4, p.y.start - 12, "min", color=QUIET)
    p.drawing.add(Line(p.x.start, p.y.start, p.x.end, p.y.start, strokeColor=INK, strokeWidth=0.7))


def round_steps(low: float, high: float, most: int) -> list[float]:
    """Round values from low to high, at most `most` or a few more."""
    step = _round_step((high - low) / most)
    first = math.ceil(low / step - 1e-9)
    return [k * step for k in range(first, math.floor(high / step + 1e-9) + 1)]


def _round_step(least: float) -> float:
    decade = 10.0 ** math.floor(math.log10(least))
    return next(m * decade for m in (1.0, 2.0, 5.0, 10.0) if m * decade >= least * 0.999)


def _decades(y: Scale) -> list[float]:
    first, last = math.ceil(math.log10(y.low) - 1e-9), math.floor(math.log10(y.high) + 1e-9)
    return [10.0**k for k in range(first, last + 1)]


def _pairs(x: Sequence[float], y: Sequence[float]) -> list[float]:
    return [coordinate for point in zip(x, y, strict=True) for coordinate in point]
