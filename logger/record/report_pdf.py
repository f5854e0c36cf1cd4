"""The report as PDF: first page the result in plain words with charts, then what it rests on. The same session gives
the same bytes."""

from __future__ import annotations

import io
from pathlib import Path
from xml.sax.saxutils import escape  # nosec B406 - escapes, parses nothing

from reportlab.lib.colors import HexColor
from reportlab.lib.enums import TA_RIGHT
from reportlab.lib.pagesizes import A4, LETTER
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.platypus import KeepTogether, PageBreak, Paragraph, SimpleDocTemplate, Spacer, TableStyle
from reportlab.platypus import Table as PdfTable

from logger.record.report_axes import BAND, FAINT, INK, QUIET
from logger.record.report_data import ReportData
from logger.record.report_fit import cut, room_of
from logger.record.report_plots import COLUMN, fill_column, plots
from logger.record.report_tables import Table, in_full, tables
from logger.record.report_units import Units
from logger.record.report_words import BESIDE, VERDICTS, headline, lines, particulars, verdict

PLAIN, BOLD = "report", "report-bold"
FONT_FILES = (
    ("/usr/share/fonts/truetype/dejavu/DejaVuSans.ttf", "/usr/share/fonts/truetype/dejavu/DejaVuSans-Bold.ttf"),
    ("Vera.ttf", "VeraBd.ttf"),
)
"""DejaVu knows the letters of most languages; Vera comes with the PDF library and knows those of Western Europe."""

ALARM = HexColor("#c0303a")
MARGIN, TOP, BOTTOM = 16 * mm, 14 * mm, 18 * mm
CHARTS, LEAST_CHART, MOST_CHART = 3, 96.0, 160.0
LONGEST_TEXTS = (5000, 700, 400, 250, 160, 100, 60)
"""Characters a text may have on the first page: the first that leaves the charts their room."""
CELL_PADDING, BOX_PADDING, TALLEST_ROW = 5.0, 8.0, 600.0
FRAME_PADDING = 6.0
"""What the library keeps free around every page's text, in points."""


def report_pdf(data: ReportData, units: Units) -> bytes:
    """The document's bytes."""
    _register_fonts()
    page = LETTER if units.us else A4
    width = page[0] - 2 * MARGIN
    out = io.BytesIO()
    document = SimpleDocTemplate(
        out,
        pagesize=page,
        leftMargin=MARGIN - FRAME_PADDING,
        rightMargin=MARGIN - FRAME_PADDING,
        topMargin=TOP,
        bottomMargin=BOTTOM,
        title=f"A/C service record {data.session['session_id']}",
        author="Tarebook",
        invariant=1,
    )
    height = page[1] - TOP - BOTTOM - 2 * FRAME_PADDING
    first, most = _first_page(data, units, width, height)
    story = [*first, PageBreak(), *_second_page(data, units, width, most)]
    document.build(story, onFirstPage=_footer(data), onLaterPages=_footer(data))
    return out.getvalue()


def _register_fonts() -> None:
    """Raises nothing: the last pair comes with the library."""
    if PLAIN in pdfmetrics.getRegisteredFontNames():
        return
    pair = next(pair for pair in FONT_FILES if not pair[0].startswith("/") or all(Path(f).exists() for f in pair))
    for name, file in zip((PLAIN, BOLD), pair, strict=True):
        pdfmetrics.registerFont(TTFont(name, file))
    pdfmetrics.registerFontFamily(PLAIN, normal=PLAIN, bold=BOLD, italic=PLAIN, boldItalic=BOLD)


def _style(size: float, bold: bool = False, **more) -> ParagraphStyle:
    look = {"fontName": BOLD if bold else PLAIN, "fontSize": size, "leading": size * 1.32, "textColor": INK, **more}
    return ParagraphStyle(f"{size}-{bold}-{more}", **look)


def _p(words: str, style: ParagraphStyle) -> Paragraph:
    return Paragraph(escape(words).replace("\n", "<br/>"), style)


def _first_page(data: ReportData, units: Units, width: float, height: float) -> tuple[list, int]:
    """What stands on it, and how many characters a text may have there so that the charts keep their room."""
    least = CHARTS * (LEAST_CHART + 2)
    for most in LONGEST_TEXTS:
        said = _said(data, units, width, most)
        left = height - sum(part.wrap(width, height)[1] for part in said)
        if left >= least:
            break
    tall = min(max((left - CHARTS * 2) / CHARTS, LEAST_CHART), MOST_CHART)
    return [*said, *plots(data, units, (width, tall), (PLAIN, BOLD))], most


def _said(data: ReportData, units: Units, width: float, most: int) -> list:
    """The first page above its charts."""
    title = _p("Air-conditioning service record", _style(15, bold=True))
    outcome = _p(VERDICTS[verdict(data)], _style(12, bold=True, alignment=TA_RIGHT))
    head = PdfTable(
        [[title, outcome]],
        colWidths=[width * 0.66, width * 0.34],
        style=TableStyle([("VALIGN", (0, 0), (-1, -1), "BOTTOM"), ("LINEBELOW", (0, 0), (-1, -1), 1.2, INK), *_FLUSH]),
    )
    return [
        head,
        Spacer(1, 5),
        _particulars(data, units, width, most),
        Spacer(1, 8),
        _result(data, units, width, most),
        Spacer(1, 6),
    ]


_FLUSH = [("LEFTPADDING", (0, 0), (-1, -1), 0), ("RIGHTPADDING", (0, 0), (-1, -1), 0)]


def _particulars(data: ReportData, units: Units, width: float, most: int) -> PdfTable:
    """Two pairs of heading and text a row."""
    quiet, plain = _style(8, textColor=QUIET), _style(8)
    cells = [cell for head, text in particulars(data, units) for cell in (_p(head, quiet), _p(cut(text, most), plain))]
    cells += [""] * (-len(cells) % 4)
    rows = [cells[k : k + 4] for k in range(0, len(cells), 4)]
    close = [("TOPPADDING", (0, 0), (-1, -1), 1), ("BOTTOMPADDING", (0, 0), (-1, -1), 1)]
    style = TableStyle([("VALIGN", (0, 0), (-1, -1), "TOP"), *close, *_FLUSH])
    return PdfTable(rows, colWidths=[width * share for share in (0.13, 0.37, 0.13, 0.37)], style=style)


def _result(data: ReportData, units: Units, width: float, most: int) -> PdfTable:
    """The sentence and what else there is to say, with the column beside it."""
    said = [_p(headline(data, units), _style(12.5, bold=True)), Spacer(1, 5)]
    for head, words in lines(data, units):
        said.append(
            Paragraph(f"<b>{escape(head)}:</b> {escape(cut(words, room_of(head, most)))}", _style(9, spaceAfter=3))
        )
    column = fill_column(data, units, (PLAIN, BOLD))
    style = TableStyle([("VALIGN", (0, 0), (-1, -1), "TOP"), *_FLUSH, ("LEFTPADDING", (1, 0), (1, 0), 12)])
    if column is None:
        return PdfTable([[said]], colWidths=[width], style=style)
    return PdfTable([[said, column]], colWidths=[width - COLUMN[0] - 12, COLUMN[0] + 12], style=style)


def _second_page(data: ReportData, units: Units, width: float, most: int) -> list:
    story = [_p("What the result rests on", _style(13, bold=True)), Spacer(1, 2)]
    for table in [*in_full([*particulars(data, units), *lines(data, units)], most), *tables(data, units)]:
        story += _table(table, width)
    beside = _p(BESIDE, _style(8, textColor=QUIET))
    story.append(KeepTogether([Spacer(1, 34), _signatures(width), Spacer(1, 8), beside]))
    return story


def _table(table: Table, width: float) -> list:
    room = width - 2 * BOX_PADDING if table.boxed else width
    head = [[_p(words, _style(7.5, textColor=QUIET)) for words in table.heads]] if table.heads else []
    columns = [room * share for share in table.widths]
    rows = [[_cell(*cell) for cell in zip(row, columns, strict=True)] for row in table.rows]
    style = [
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("LINEBELOW", (0, len(head)), (-1, -1), 0.3, FAINT),
        ("TOPPADDING", (0, 0), (-1, -1), 1.6),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 1.6),
        ("LEFTPADDING", (0, 0), (-1, -1), 0),
        ("RIGHTPADDING", (0, 0), (-1, -1), CELL_PADDING),
    ]
    under_head = [("LINEBELOW", (0, 0), (-1, 0), 0.7, INK)] if head else []
    made = PdfTable([*head, *rows], colWidths=columns, style=TableStyle(style + under_head), repeatRows=len(head))
    title = _p(table.title, _style(9.5, bold=True, spaceBefore=9, spaceAfter=2))
    under = [_p(table.why, _style(7.5, textColor=QUIET))] if table.why else []
    if table.boxed:
        return [KeepTogether([Spacer(1, 12), _boxed([title, made, Spacer(1, 3), *under], width)])]
    return [KeepTogether([title, made, *under])] if len(rows) < 12 else [title, made, *under]


def _boxed(parts: list, width: float) -> PdfTable:
    padding = [(f"{side}PADDING", (0, 0), (-1, -1), BOX_PADDING) for side in ("LEFT", "RIGHT", "TOP", "BOTTOM")]
    return PdfTable([[parts]], colWidths=[width], style=TableStyle([("BOX", (0, 0), (-1, -1), 0.9, INK), *padding]))


def _cell(words: str, width: float) -> Paragraph:
    """As much of it as a row no higher than most of a page can hold."""
    style = _style(7.5, bold=True, textColor=ALARM) if words == "FAIL" else _style(7.5)
    made = _p(words, style)
    while made.wrap(width - CELL_PADDING, TALLEST_ROW)[1] > TALLEST_ROW:
        words = cut(words, len(words) * 3 // 4, " …")
        made = _p(words, style)
    return made


def _signatures(width: float) -> PdfTable:
    names = [_p(words, _style(8, textColor=QUIET)) for words in ("Technician, date", "", "Reviewer, date")]
    style = TableStyle([("LINEABOVE", (0, 0), (0, 0), 0.6, INK), ("LINEABOVE", (2, 0), (2, 0), 0.6, INK), *_FLUSH])
    return PdfTable([names], colWidths=[width * 0.42, width * 0.16, width * 0.42], style=style)


def _footer(data: ReportData):
    def draw(canvas, document) -> None:
        canvas.saveState()
        canvas.setStrokeColor(BAND)
        canvas.line(MARGIN, 15 * mm, document.pagesize[0] - MARGIN, 15 * mm)
        canvas.setFont(PLAIN, 7)
        canvas.setFillColor(QUIET)
        canvas.drawString(
            MARGIN, 11 * mm, "Beside approved service equipment and certified people, never in their place."
        )
        page = f"Session {data.session['session_id']} · page {document.page}"
        canvas.drawRightString(document.pagesize[0] - MARGIN, 11 * mm, page)
        canvas.restoreState()

    return draw
