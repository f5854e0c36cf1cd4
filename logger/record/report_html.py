"""The report as one HTML page that prints well: words, tables and charts of the PDF, nothing loaded from outside."""

from __future__ import annotations

import re
from html import escape

from reportlab.graphics import renderSVG
from reportlab.graphics.shapes import Drawing

from logger.record.report_data import ReportData
from logger.record.report_plots import fill_column, plots
from logger.record.report_tables import Table, tables
from logger.record.report_units import Units
from logger.record.report_words import BESIDE, VERDICTS, headline, lines, particulars, verdict

WIDTH, HEIGHT = 640.0, 150.0
FONTS = ("Helvetica", "Helvetica-Bold")
STYLE = """
body { font: 15px/1.4 system-ui, sans-serif; color: #1d2330; background: #fff; max-width: 46rem; margin: 2rem auto; }
h1 { font-size: 1.35rem; border-bottom: 2px solid; display: flex; justify-content: space-between; gap: 1rem; }
h2 { font-size: 1.1rem; margin: 1.6rem 0 .3rem; }
.said { display: flex; gap: 1rem; justify-content: space-between; }
.headline { font-weight: 700; font-size: 1.15rem; }
dl { display: grid; grid-template-columns: max-content 1fr max-content 1fr; gap: .1rem .8rem; font-size: .85rem; }
dt, .why, footer { color: #5a6272; }
dd { margin: 0; overflow-wrap: anywhere; }
table { border-collapse: collapse; width: 100%; font-size: .8rem; }
th { text-align: left; font-weight: 400; color: #5a6272; border-bottom: 1px solid #1d2330; }
td { vertical-align: top; padding: .15rem .6rem .15rem 0; border-bottom: 1px solid #dfe3ea; }
.why, footer { font-size: .8rem; }
.fail { color: #c0303a; font-weight: 700; }
svg { max-width: 100%; height: auto; }
p > svg { width: 100%; }
.said > div:last-child { flex: none; }
.scroll { overflow-x: auto; }
.box { border: 1.5px solid; padding: .2rem 1rem; margin-top: 1.6rem; break-inside: avoid; }
.box h2 { margin-top: .6rem; }
.box td:first-child { width: 9rem; color: #5a6272; }
@media (max-width: 34rem) {
  body { margin: 1rem; }
  dl { grid-template-columns: max-content 1fr; }
  .said { flex-direction: column; }
}
@media print { body { margin: 0; max-width: none; font-size: 11px; } .rests { break-before: page; } }
"""


def report_html(data: ReportData, units: Units) -> str:
    """The page."""
    title = f"A/C service record {data.session['session_id']}"
    said = "".join(f"<p><b>{escape(head)}:</b> {escape(words)}</p>" for head, words in lines(data, units))
    column = fill_column(data, units, FONTS)
    drawn = plots(data, units, (WIDTH, HEIGHT), FONTS)
    charts = "".join(f"<p>{_svg(drawing, f'chart{k}')}</p>" for k, drawing in enumerate(drawn))
    return (
        f'<!doctype html>\n<html lang="en"><head><meta charset="utf-8"><title>{escape(title)}</title>'
        f'<meta name="viewport" content="width=device-width"><style>{STYLE}</style></head><body>'
        f"<h1><span>Air-conditioning service record</span><span>{VERDICTS[verdict(data)]}</span></h1>"
        f"<dl>{_particulars(data, units)}</dl>"
        f'<div class="said"><div><p class="headline">{escape(headline(data, units))}</p>{said}</div>'
        f"<div>{_svg(column, 'column') if column else ''}</div></div>{charts}"
        f'<div class="rests"><h1>What the result rests on</h1>{"".join(_table(t) for t in tables(data, units))}</div>'
        f"<footer><p>{escape(BESIDE)}</p></footer></body></html>\n"
    )


def _particulars(data: ReportData, units: Units) -> str:
    return "".join(f"<dt>{escape(head)}</dt><dd>{escape(text)}</dd>" for head, text in particulars(data, units))


def _table(table: Table) -> str:
    heads = "".join(f"<th>{escape(words)}</th>" for words in table.heads)
    heads = f"<thead><tr>{heads}</tr></thead>" if heads else ""
    rows = "".join(f"<tr>{''.join(_cell(words) for words in row)}</tr>" for row in table.rows)
    why = f'<p class="why">{escape(table.why)}</p>' if table.why else ""
    body = f'<div class="scroll"><table>{heads}<tbody>{rows}</tbody></table></div>'
    boxed = ' class="box"' if table.boxed else ""
    return f"<section{boxed}><h2>{escape(table.title)}</h2>{body}{why}</section>"


def _cell(words: str) -> str:
    mark = ' class="fail"' if words == "FAIL" else ""
    return f"<td{mark}>{escape(words).replace(chr(10), '<br>')}</td>"


def _svg(drawing: Drawing, name: str) -> str:
    """The drawing as an element of the page; `name` keeps its clipping path apart from those of the others."""
    text = re.sub(r"^.*?(?=<svg)|<(title|desc)>[^<]*</\1>", "", renderSVG.drawToString(drawing), flags=re.DOTALL)
    text = text.replace(' id="group"', "")
    return text.replace('id="clip"', f'id="{name}"').replace("url(#clip)", f"url(#{name})")
