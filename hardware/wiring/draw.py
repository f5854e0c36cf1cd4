"""Draws a wiring diagram (SVG) from its text (TOML).

    python draw.py board.toml board.svg

The text lists `[[box]]`es in columns from left to right and the `[[wire]]`s between them. A pin is written "NAME" or
"NAME = RAIL": the second kind hangs on a supply rail, drawn as a tag, so that no supply line crosses the sheet.
"""

from __future__ import annotations

import sys
import tomllib
import xml.etree.ElementTree as ET  # nosec B405 - writes a drawing, reads none
from dataclasses import dataclass, field
from pathlib import Path

PITCH, HEAD, FOOT = 24, 30, 10
LINE, MARGIN, TOP = 17, 30, 96
LANE, STUB = 13, 40
SIZE = {"title": 24, "box": 15, "text": 12.5, "pin": 13}
INK, FAINT, PAPER, FILL = "#1c1c1c", "#5a5a5a", "#ffffff", "#f6f4ef"
RAILS = {"12 V": "#8c4a00", "5.1 V": "#7a5c00", "5 V": "#a3312a", "3.3 V": "#6d3f8f", "0 V": "#1c1c1c"}
DASHES = {"signal": "", "cable": "", "shield": "3 4", "optional": "7 4"}


class DiagramError(ValueError):
    """The text cannot be drawn; one line that says what to mend."""


@dataclass
class Box:
    """One part; `x`, `y`, `width`, `height` in pixels once it is placed."""

    id: str
    title: str
    column: int
    row: float
    width: int
    notes: list[str]
    left: list[str]
    right: list[str]
    x: int = 0
    y: int = 0

    @property
    def pins_top(self) -> int:
        return self.y + HEAD + LINE * len(self.notes)

    @property
    def height(self) -> int:
        return self.pins_top - self.y + PITCH * max(len(self.left), len(self.right)) + FOOT

    def pin(self, name: str) -> tuple[int, int, str]:
        """Where a pin meets the outside, and on which side."""
        for side, pins in (("left", self.left), ("right", self.right)):
            for i, pin in enumerate(pins):
                if pin.partition(" = ")[0] == name:
                    return self.x + (self.width if side == "right" else 0), self.pins_top + PITCH * i + PITCH // 2, side
        raise DiagramError(f"box {self.id!r} has no pin {name!r}")


@dataclass
class Diagram:
    title: str
    notes: list[str]
    columns: list[int]
    boxes: dict[str, Box]
    wires: list[dict] = field(default_factory=list)
    zones: list[dict] = field(default_factory=list)


def read_diagram(path: Path) -> Diagram:
    """Raises DiagramError."""
    data = tomllib.loads(path.read_text("utf-8"))
    boxes = {
        each["id"]: Box(
            each["id"], each["title"], each["column"], each["row"], each.get("width", 190), each.get("notes", []),
            each.get("left", []), each.get("right", []),
        )
        for each in data["box"]
    }  # fmt: skip
    diagram = Diagram(
        data["title"], data.get("notes", []), data["columns"], boxes, data.get("wire", []), data.get("zone", [])
    )
    for box in boxes.values():
        box.x = diagram.columns[box.column]
        box.y = TOP + round(PITCH * box.row)
    _refuse_overlaps(diagram)
    return diagram


def _refuse_overlaps(diagram: Diagram) -> None:
    placed = sorted(diagram.boxes.values(), key=lambda box: (box.column, box.y))
    for above, below in zip(placed, placed[1:], strict=False):
        if above.column == below.column and below.y < above.y + above.height:
            row = (above.y + above.height - TOP) / PITCH
            raise DiagramError(f"box {below.id!r} lies over {above.id!r}: give it row = {row:.1f} or more")


class Sheet:
    """An SVG drawing that grows element by element."""

    def __init__(self, width: int, height: int, title: str):
        size = {"width": str(width), "height": str(height), "viewBox": f"0 0 {width} {height}"}
        self.root = ET.Element("svg", {"xmlns": "http://www.w3.org/2000/svg", **size, "font-family": "sans-serif"})
        ET.SubElement(self.root, "title").text = title
        self.rect(0, 0, width, height, fill=PAPER)

    def rect(self, x: float, y: float, width: float, height: float, **style: str) -> None:
        self._add("rect", style, x=x, y=y, width=width, height=height)

    def line(self, points: list[tuple[float, float]], **style: str) -> None:
        path = " ".join(f"{x:g},{y:g}" for x, y in points)
        self._add("polyline", {"fill": "none", "stroke-linejoin": "round", **style}, points=path)

    def dot(self, x: float, y: float, colour: str) -> None:
        self._add("circle", {"fill": colour}, cx=x, cy=y, r=3.5)

    def text(self, x: float, y: float, text: str, size: float, **style: str) -> None:
        self._add("text", {"fill": INK, **style, "font-size": f"{size:g}"}, x=x, y=y).text = text

    def bytes(self) -> bytes:
        ET.indent(self.root)
        return ET.tostring(self.root, encoding="utf-8") + b"\n"

    def _add(self, tag: str, style: dict[str, str], **numbers: object) -> ET.Element:
        shape = {name: f"{it:g}" if isinstance(it, int | float) else str(it) for name, it in numbers.items()}
        look = {name.replace("_", "-"): value for name, value in style.items()}
        return ET.SubElement(self.root, tag, shape | look)


def _ends(diagram: Diagram, wire: dict) -> list[tuple[int, int, str, int]]:
    """x, y, side and column of both ends of a wire."""
    ends = []
    for end in (wire["from"], wire["to"]):
        name, _, pin = end.partition(".")
        if name not in diagram.boxes:
            raise DiagramError(f"wire end {end!r}: there is no box {name!r}")
        box = diagram.boxes[name]
        ends.append((*box.pin(pin), box.column))
    if ends[0][2] != "right" or ends[1][2] != "left" or ends[1][3] <= ends[0][3]:
        raise DiagramError(f"wire {wire['from']} to {wire['to']}: must go from a right pin to a left one further right")
    return ends


def _routes(diagram: Diagram) -> list[list[tuple[float, float]]]:
    """The bends of every wire. Wires that step share a gutter, each in its own lane: those that go down turn the later
    the higher they start, those that go up the later the lower they start, so that none of one kind crosses another."""
    ends = [_ends(diagram, wire) for wire in diagram.wires]
    routes: list[list[tuple[float, float]]] = [[] for _ in ends]
    gutters: dict[int, list[int]] = {}
    for i, (start, stop) in enumerate(ends):
        if start[1] == stop[1]:
            routes[i] = [start[:2], stop[:2]]
        else:
            gutters.setdefault(stop[0], []).append(i)
    for right, members in gutters.items():
        members.sort(key=lambda i: (ends[i][1][1] < ends[i][0][1], _turn(ends[i])))
        for lane, i in enumerate(members):
            (x0, y0, *_), (x1, y1, *_) = ends[i]
            x = right - STUB - 14 - LANE * (len(members) - 1 - lane)
            routes[i] = [(x0, y0), (x, y0), (x, y1), (x1, y1)]
    return routes


def _turn(ends: list[tuple[int, int, str, int]]) -> int:
    down = ends[1][1] > ends[0][1]
    return -ends[0][1] if down else ends[0][1]


def _draw_wires(sheet: Sheet, diagram: Diagram) -> None:
    for wire, route in zip(diagram.wires, _routes(diagram), strict=True):
        kind = wire.get("kind", "signal")
        style = {"stroke": FAINT if kind == "shield" else INK, "stroke-width": "3" if kind == "cable" else "1.6"}
        sheet.line(route, **style, stroke_dasharray=DASHES[kind])


def _draw_rail(sheet: Sheet, x: int, y: int, side: str, rail: str) -> None:
    if rail not in RAILS:
        raise DiagramError(f"there is no rail {rail!r}; there are: {', '.join(RAILS)}")
    way = 1 if side == "right" else -1
    sheet.line([(x, y), (x + 10 * way, y)], stroke=RAILS[rail], stroke_width="1.6")
    width = 12 + 7.2 * len(rail)
    sheet.rect(x + 10 if way > 0 else x - 10 - width, y - 9, width, 18, rx="3", fill=RAILS[rail])
    middle = x + way * (10 + width / 2)
    sheet.text(middle, y + 4.5, rail, SIZE["text"], fill=PAPER, text_anchor="middle")


def _draw_pins(sheet: Sheet, box: Box, side: str, pins: list[str]) -> None:
    for pin in pins:
        name, _, rail = pin.partition(" = ")
        x, y, _ = box.pin(name)
        inside, anchor = (x - 9, "end") if side == "right" else (x + 9, "start")
        sheet.text(inside, y + 4.5, name, SIZE["pin"], text_anchor=anchor)
        if rail:
            _draw_rail(sheet, x, y, side, rail)
        sheet.dot(x, y, RAILS.get(rail, INK))


def _draw_box(sheet: Sheet, box: Box) -> None:
    sheet.rect(box.x, box.y, box.width, box.height, rx="5", fill=FILL, stroke=INK, stroke_width="1.6")
    sheet.text(box.x + box.width / 2, box.y + 20, box.title, SIZE["box"], text_anchor="middle", font_weight="bold")
    for i, note in enumerate(box.notes):
        y = box.y + HEAD + LINE * i + 8
        sheet.text(box.x + box.width / 2, y, note, SIZE["text"], fill=FAINT, text_anchor="middle")
    _draw_pins(sheet, box, "left", box.left)
    _draw_pins(sheet, box, "right", box.right)


def _draw_zone(sheet: Sheet, diagram: Diagram, zone: dict) -> None:
    boxes = [diagram.boxes[name] for name in zone["boxes"]]
    before, after = zone["pad"]
    left, right = min(b.x for b in boxes) - before, max(b.x + b.width for b in boxes) + after
    top, bottom = min(b.y for b in boxes) - 38, max(b.y + b.height for b in boxes) + 14
    style = {"fill": "none", "stroke": FAINT, "stroke-dasharray": "9 6", "stroke-width": "1.2", "rx": "8"}
    sheet.rect(left, top, right - left, bottom - top, **style)
    sheet.text(left + 12, top + 20, zone["title"], SIZE["text"] + 1, fill=FAINT, font_style="italic")


def draw(diagram: Diagram) -> bytes:
    """The SVG. Raises DiagramError."""
    bottom = max(box.y + box.height for box in diagram.boxes.values()) + 40
    width = max(box.x + box.width for box in diagram.boxes.values()) + 3 * MARGIN
    sheet = Sheet(width, bottom + 22 * len(diagram.notes) + MARGIN // 2, diagram.title)
    sheet.text(MARGIN, 40, diagram.title, SIZE["title"], font_weight="bold")
    for zone in diagram.zones:
        _draw_zone(sheet, diagram, zone)
    _draw_wires(sheet, diagram)
    for box in diagram.boxes.values():
        _draw_box(sheet, box)
    for i, note in enumerate(diagram.notes):
        sheet.text(MARGIN, bottom + 22 * i, note, SIZE["pin"])
    return sheet.bytes()


def main() -> int:
    try:
        source, target = map(Path, sys.argv[1:])
        target.write_bytes(draw(read_diagram(source)))
    except (ValueError, OSError) as error:
        print(f"draw.py: {error}; use: draw.py DIAGRAM.toml DIAGRAM.svg", file=sys.stderr)
        return 2
    return 0


if __name__ == "__main__":
    sys.exit(main())
