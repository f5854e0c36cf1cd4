// Strip charts: a band from lowest to highest and a line of means, as the record keeps them, drawn as SVG so that
// they take the page's ink, scale with the text and need no library.
import { el, label } from "./svg.js";
import { chosen, convert, number } from "./units.js";

const LEFT = 46;
const BELOW = 18;

function extent(rows, group, log) {
  let [low, high] = [Infinity, -Infinity];
  for (const row of rows) {
    for (let i = 0; i < row.t_s.length; i++) {
      if (row.low[i] === null || row.low[i] === undefined) continue;
      low = Math.min(low, row.low[i]);
      high = Math.max(high, row.high[i]);
    }
  }
  if (low > high) return null;
  if (log) return [10 ** Math.floor(Math.log10(Math.max(low, 1))), 10 ** Math.ceil(Math.log10(Math.max(high, 10)) + 1e-6)];
  const room = Math.max((high - low) * 0.06, { mass: 5, temperature: 1, pressure: 10 }[group] ?? 0.5);
  return [low - room, high + room];
}

function steps(low, high, count) {
  const raw = (high - low) / count;
  const size = 10 ** Math.floor(Math.log10(raw));
  const step = [1, 2, 2.5, 5, 10].map((k) => k * size).find((s) => s >= raw) ?? raw;
  const out = [];
  for (let v = Math.ceil(low / step) * step; v <= high; v += step) out.push(Math.abs(v) < step / 1e6 ? 0 : v);
  return out;
}

function decades(low, high) {
  const out = [];
  for (let k = Math.ceil(Math.log10(low) - 1e-9); k <= Math.log10(high) + 1e-9; k++) out.push(10 ** k);
  return out.length > 4 ? out.filter((_, i) => i % 2 === 0) : out;
}

// Values at which to draw a line, round in the reader's unit but given in the record's.
function marks(low, high, group, log) {
  if (!group) return steps(low, high, 3);
  const [a, b] = [convert(low, group), convert(high, group)];
  const offset = convert(0, group);
  const factor = convert(1, group) - offset;
  return (log ? decades(a, b) : steps(a, b, 3)).map((shown) => (shown - offset) / factor);
}

// A decade in few figures.
function round(value) {
  return value >= 10_000 ? `${Math.round(value / 1000)}k` : String(+value.toPrecision(1));
}

export class Strip {
  constructor(place, title, { group, log = false, height = 110 }) {
    Object.assign(this, { group, log, height });
    this.name = Object.assign(document.createElement("h2"), { textContent: title });
    this.title = title;
    this.drawn = el("svg", { class: "strip", role: "img", "aria-label": title });
    const figure = document.createElement("figure");
    figure.append(this.name, this.drawn);
    place.append(figure);
    this.figure = figure;
    this.rows = [];
  }

  // rows: [{kind, t_s, low, high, mean}], span: [from, to] in seconds, tick: seconds → words, told at round distances
  // from `origin`
  show(rows, span, tick, origin = 0) {
    Object.assign(this, { rows, span, tick, origin });
    const width = this.figure.clientWidth;
    const range = extent(rows, this.group, this.log);
    this.figure.hidden = range === null;
    if (!range || !width) return;
    this.name.textContent = this.group ? `${this.title}, ${chosen(this.group)}` : this.title;
    this.drawn.replaceChildren();
    this.drawn.setAttribute("viewBox", `0 0 ${width} ${this.height}`);
    this.drawn.setAttribute("height", this.height);
    this.x = (t) => LEFT + ((t - span[0]) / (span[1] - span[0] || 1)) * (width - LEFT - 2);
    const [a, b] = this.log ? range.map(Math.log) : range;
    this.y = (v) => 4 + (1 - ((this.log ? Math.log(Math.max(v, 1)) : v) - a) / (b - a || 1)) * (this.height - BELOW - 8);
    this.grid(range, width);
    for (const row of rows) this.curve(row);
  }

  grid([low, high], width) {
    for (const v of marks(low, high, this.group, this.log)) {
      const y = this.y(v);
      this.drawn.append(el("path", { d: `M${LEFT} ${y}H${width}`, class: "grid" }));
      this.drawn.append(label(LEFT - 6, Math.max(11, y + 4), this.log ? round(convert(v, this.group)) : this.group ? number(v, this.group) : String(+v.toFixed(2)), { class: "tick", "text-anchor": "end" }));
    }
    const [from, to] = this.span;
    const every = [10, 30, 60, 120, 300, 600, 1800, 3600, 7200].find((s) => (to - from) / s <= width / 90) ?? 14400;
    for (let t = this.origin + Math.ceil((from - this.origin) / every) * every; t <= to; t += every) {
      this.drawn.append(el("path", { d: `M${this.x(t)} ${this.height - BELOW}v4`, class: "tickline" }));
      const anchor = this.x(t) > width - 24 ? "end" : this.x(t) < LEFT + 12 ? "start" : "middle";
      this.drawn.append(label(this.x(t), this.height - 2, this.tick(t), { class: "tick", "text-anchor": anchor }));
    }
  }

  curve({ kind, t_s, low, high, mean }) {
    let [line, top, bottom, pen] = ["", [], [], "M"];
    const band = [];
    const flush = () => (top.length > 1 && band.push("M" + top.join("L") + "L" + bottom.reverse().join("L") + "Z"), (top = []), (bottom = []));
    for (let i = 0; i < t_s.length; i++) {
      if (t_s[i] < this.span[0] - 1 || t_s[i] > this.span[1] + 1) continue;
      if (mean[i] === null || mean[i] === undefined) {
        flush();
        pen = "M";
        continue;
      }
      const x = this.x(t_s[i]).toFixed(1);
      line += pen + x + " " + this.y(mean[i]).toFixed(1);
      pen = "L";
      top.push(x + " " + this.y(high[i]).toFixed(1));
      bottom.push(x + " " + this.y(low[i]).toFixed(1));
    }
    flush();
    this.drawn.append(el("path", { d: band.join(""), class: "range " + kind }), el("path", { d: line, class: "trace " + kind }));
  }

  again() {
    if (this.span) this.show(this.rows, this.span, this.tick, this.origin);
  }
}

// The last seconds of one channel, a bucket a second; memory stays as it is however long the page is open.
export class Tail {
  constructor(seconds) {
    Object.assign(this, { seconds, t_s: [], low: [], high: [], mean: [] });
  }

  fill({ t_s, low, high, mean }) {
    Object.assign(this, { t_s: [...t_s], low: [...low], high: [...high], mean: [...mean] });
  }

  add(t, value) {
    const last = this.t_s.length - 1;
    if (last >= 0 && t < this.t_s[last]) this.fill({ t_s: [], low: [], high: [], mean: [] });
    if (last >= 0 && Math.floor(t) === Math.floor(this.t_s[last])) {
      this.low[last] = Math.min(this.low[last] ?? value, value);
      this.high[last] = Math.max(this.high[last] ?? value, value);
      this.mean[last] = value;
    } else {
      for (const [key, each] of Object.entries({ t_s: t, low: value, high: value, mean: value })) this[key].push(each);
    }
    while (this.t_s[0] < t - this.seconds) for (const key of ["t_s", "low", "high", "mean"]) this[key].shift();
  }
}
