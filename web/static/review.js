// Control chart of the charge: what was delivered less the target, session by session, and its moving range below.
import { wireForms } from "./deeds.js";
import { wireUnits } from "./paint.js";
import { el, label } from "./svg.js";
import { chosen, number } from "./units.js";

const ALLOWED_G = 15; // 40 CFR 82 subpart B, appendix C (the text of SAE J2788), section 7.1
const [LEFT, EDGE] = [52, 10];
const signed = (g) => (g > 0 ? "+" : "") + number(g, "mass", 1);

// One chart of values against its place; lines: [value, kind, words].
class Chart {
  constructor(place, height, low, high, count) {
    Object.assign(this, { place, height, low, high, count, width: place.clientWidth });
    this.drawn = el("svg", { viewBox: `0 0 ${this.width} ${height}`, height, class: "strip", "aria-hidden": "true" });
    this.taken = [];
  }

  x(place) {
    return LEFT + 8 + ((place + 0.5) / this.count) * (this.width - LEFT - 8 - EDGE);
  }

  y(value) {
    return this.height - EDGE - ((value - this.low) / (this.high - this.low)) * (this.height - 2 * EDGE);
  }

  line(value, kind, words) {
    const y = this.y(value);
    this.drawn.append(el("path", { d: `M${LEFT} ${y}H${this.width}`, class: kind }));
    if (this.taken.some((other) => Math.abs(other - y) < 13)) return;
    this.taken.push(y);
    this.drawn.append(label(LEFT - 6, y + 4, words, { class: "tick", "text-anchor": "end" }));
  }

  points(values, from, outside) {
    const at = (value, i) => `${this.x(i + from)} ${this.y(value)}`;
    this.drawn.append(el("path", { d: "M" + values.map(at).join("L"), class: "trace thin" }));
    values.forEach((value, i) => {
      const [x, y] = [this.x(i + from), this.y(value)];
      const out = outside.includes(i + from);
      this.drawn.append(out ? el("path", { d: `M${x} ${y - 8}l8 14h-16z`, class: "beyond" }) : el("circle", { cx: x, cy: y, r: 4.5, class: "pen" }));
    });
  }

  show() {
    this.place.replaceChildren(this.drawn);
  }
}

function individuals(place, chart) {
  const all = [...chart.values, chart.lower, chart.upper, 1.2 * ALLOWED_G, -1.2 * ALLOWED_G];
  const made = new Chart(place, 240, Math.min(...all), Math.max(...all), chart.values.length);
  const top = made.y(ALLOWED_G);
  made.drawn.append(el("rect", { x: LEFT, y: top, width: made.width - LEFT, height: made.y(-ALLOWED_G) - top, class: "zone" }));
  made.line(0, "tickline", "0 " + chosen("mass"));
  made.line(chart.upper, "limit", signed(chart.upper));
  made.line(chart.lower, "limit", signed(chart.lower));
  made.line(chart.mean, "mean", signed(chart.mean));
  made.points(chart.values, 0, chart.outside);
  made.show();
}

function ranges(place, chart) {
  const top = Math.max(chart.range_upper, ...chart.moving_ranges) * 1.1 || 1;
  const made = new Chart(place, 120, 0, top, chart.values.length);
  made.line(0, "tickline", "0 " + chosen("mass"));
  made.line(chart.range_upper, "limit", number(chart.range_upper, "mass", 1));
  made.line(chart.mean_range, "mean", number(chart.mean_range, "mass", 1));
  const beyond = chart.moving_ranges.flatMap((range, i) => (range > chart.range_upper ? [i + 1] : []));
  made.points(chart.moving_ranges, 1, beyond);
  made.show();
}

function draw() {
  const place = document.getElementById("control");
  if (!place) return;
  const chart = JSON.parse(place.dataset.chart);
  individuals(place, chart);
  ranges(document.getElementById("ranges"), chart);
}

wireForms();
wireUnits(draw);
draw();
addEventListener("resize", draw);
