// The fill column: the vehicle as a vessel that narrows to a neck where the grams get precious. In the neck one gram
// stands taller, and the vessel is thinner by the same factor, so that equal areas stay equal masses.
import { el, label, set } from "./svg.js";
import { number } from "./units.js";

const NECK_FROM = 0.75; // of the target
const NECK_HEIGHT = 0.6; // of the drawn height
const HEADROOM = 0.045; // of the target, above the placard band
const RIM = 14;
export const BESIDE = 15; // the pointer has its place between the vessel and the figures

export function gutter(width) {
  return width > 200 ? 74 : 54; // for the pointer, and the figures beside it
}

export class FillColumn {
  constructor(place) {
    this.place = place;
    this.drawn = el("svg", { class: "column", role: "presentation" });
    place.append(this.drawn);
    new ResizeObserver(() => this.rebuild()).observe(place);
  }

  show(charge) {
    this.charge = charge;
    const target = charge?.target_g ?? null;
    const key = [target, charge?.placard_low_g, charge?.placard_high_g, this.unitKey()].join();
    if (key !== this.key) {
      this.key = key;
      this.rebuild();
    } else this.level();
  }

  unitKey() {
    return localStorage.getItem("unit.mass");
  }

  rebuild() {
    this.width = this.place.clientWidth;
    this.height = this.place.clientHeight;
    this.gutter = gutter(this.width);
    if (!this.width || !this.height) return;
    set(this.drawn, { viewBox: `0 0 ${this.width} ${this.height}`, width: this.width, height: this.height });
    this.drawn.replaceChildren();
    const target = this.charge?.target_g;
    this.scale = target > 0 ? this.measure(target) : null;
    this.scale ? this.vessel() : this.empty();
    this.level();
  }

  measure(target) {
    const low = this.charge.placard_low_g ?? target;
    const high = this.charge.placard_high_g ?? target;
    const breakAt = Math.min(NECK_FROM * target, low - 0.04 * target);
    const top = Math.max(high, target) + HEADROOM * target;
    const floor = this.height - 2;
    const shoulder = RIM + (floor - RIM) * NECK_HEIGHT;
    const perGramNeck = (shoulder - RIM) / (top - breakAt);
    const perGramBase = (floor - shoulder) / breakAt;
    const base = this.width - this.gutter;
    return { target, low, high, breakAt, top, floor, shoulder, perGramNeck, perGramBase, base, neck: (base * perGramBase) / perGramNeck };
  }

  y(mass) {
    const s = this.scale;
    if (mass <= s.breakAt) return s.floor - Math.max(0, mass) * s.perGramBase;
    return Math.max(2, s.shoulder - (mass - s.breakAt) * s.perGramNeck);
  }

  // Outline of what the vessel holds up to `mass`, closed.
  outline(mass) {
    const s = this.scale;
    const [left, right] = [1, s.base + 1];
    const [inLeft, inRight] = [(s.base - s.neck) / 2 + 1, (s.base + s.neck) / 2 + 1];
    const y = this.y(mass);
    if (mass <= s.breakAt) return `M${left} ${y}V${s.floor}H${right}V${y}Z`;
    return `M${inLeft} ${y}V${s.shoulder}H${left}V${s.floor}H${right}V${s.shoulder}H${inRight}V${y}Z`;
  }

  vessel() {
    const s = this.scale;
    const hatch = el("pattern", { id: "hatch", width: 7, height: 7, patternUnits: "userSpaceOnUse", patternTransform: "rotate(45)" },
      el("rect", { width: 2.5, height: 7, class: "hatch" }));
    const [bandTop, bandLow, aim] = [this.y(s.high), this.y(s.low), this.y(s.target)];
    this.drawn.append(el("defs", {}, hatch));
    if (s.high > s.low) {
      this.drawn.append(el("rect", { x: 0, y: bandTop, width: s.base + 2, height: bandLow - bandTop, fill: "url(#hatch)", class: "band" }));
    }
    this.fill = el("path", { class: "fill" });
    this.over = el("path", { class: "over" });
    this.stream = el("path", { class: "stream" });
    this.drawn.append(el("path", { d: this.outline(s.top), class: "inside" }), this.stream, this.fill, this.over);
    this.drawn.append(el("path", { d: this.walls(), class: "walls" }));
    if (s.high > s.low) this.bandLines(bandTop, bandLow);
    this.drawn.append(el("path", { d: `M0 ${aim}H${s.base + BESIDE - 5}`, class: "aim" }), label(s.base + BESIDE, aim + 6, number(s.target, "mass"), { class: "aimtext" }));
    this.ticks();
    this.call = el("path", { class: "call" });
    this.pen = el("path", { class: "pen" });
    this.drawn.append(this.call, this.pen);
  }

  walls() {
    const s = this.scale;
    const [inLeft, inRight] = [(s.base - s.neck) / 2 + 1, (s.base + s.neck) / 2 + 1];
    return `M${inLeft} ${RIM - 8}V${s.shoulder}H1V${s.floor}H${s.base + 1}V${s.shoulder}H${inRight}V${RIM - 8}`;
  }

  bandLines(top, low) {
    const x = this.scale.base + BESIDE;
    this.drawn.append(el("path", { d: `M0 ${top}H${x - 5}M0 ${low}H${x - 5}`, class: "bandline" }));
    const aim = this.y(this.scale.target);
    this.drawn.append(label(this.width, top - 9, "placard", { class: "tick", "text-anchor": "end" }));
    if (aim - top > 20) this.drawn.append(label(x, top + 4, number(this.scale.high, "mass"), { class: "tick" }));
    if (low - aim > 20) this.drawn.append(label(x, low + 4, number(this.scale.low, "mass"), { class: "tick" }));
  }

  ticks() {
    const s = this.scale;
    const step = [10, 20, 50, 100, 200, 500, 1000].find((g) => g * s.perGramBase > 26) ?? 2000;
    for (let g = 0; g <= s.breakAt; g += step) this.tick(g);
    const fine = [5, 10, 20, 50, 100].find((g) => g * s.perGramNeck > 30) ?? 200;
    for (let g = Math.ceil((s.breakAt + fine * 0.6) / fine) * fine; g < s.low - 14 / s.perGramNeck; g += fine) this.tick(g);
  }

  tick(mass) {
    const y = Math.min(this.y(mass), this.height - 5);
    const x = mass > this.scale.breakAt ? (this.scale.base + this.scale.neck) / 2 + 4 : this.scale.base + 3;
    this.drawn.append(el("path", { d: `M${x} ${y}h5`, class: "tickline" }), label(this.scale.base + BESIDE, y + 4, number(mass, "mass"), { class: "tick" }));
  }

  level() {
    const s = this.scale;
    if (!s || !this.fill) return;
    const mass = Math.max(0, this.charge.delivered_g ?? 0);
    const flow = Math.max(0, this.charge.flow_g_per_s ?? 0);
    this.fill.setAttribute("d", this.outline(Math.min(mass, s.top)));
    const over = mass > s.high && s.high >= s.target;
    this.over.setAttribute("d", over ? this.neckPart(s.high, Math.min(mass, s.top)) : "");
    this.pour(mass, flow);
    const y = this.y(mass);
    const wide = mass > s.breakAt ? (s.base + s.neck) / 2 + 1 : s.base + 1;
    this.pen.setAttribute("d", `M${wide} ${y}l11 -7v14z`);
    this.warn(mass, flow);
  }

  neckPart(from, to) {
    const s = this.scale;
    return `M${(s.base - s.neck) / 2 + 1} ${this.y(to)}h${s.neck}V${this.y(from)}h${-s.neck}Z`;
  }

  // What flows in, drawn as a jet as wide as the flow is strong.
  pour(mass, flow) {
    const s = this.scale;
    const half = Math.min(s.neck / 2 - 2, flow * 0.55);
    const middle = s.base / 2 + 1;
    this.stream.setAttribute("d", half > 0.15 ? `M${middle - half} 0H${middle + half}V${this.y(mass)}H${middle - half}Z` : "");
  }

  // Where the level will stand when the stop is called, the valve's closing time before the target.
  warn(mass, flow) {
    const left = this.charge.seconds_to_stop;
    const at = left > 0 && flow > 0.2 ? mass + flow * left : null;
    const y = at === null ? 0 : this.y(at);
    this.call.setAttribute("d", at === null || at > this.scale.top ? "" : `M0 ${y}H${this.scale.base + 2}`);
  }

  empty() {
    this.fill = null;
    const [w, h] = [this.width - this.gutter, this.height - 2];
    const [neck, shoulder] = [w * 0.3, RIM + (h - RIM) * NECK_HEIGHT];
    const [a, b] = [(w - neck) / 2 + 1, (w + neck) / 2 + 1];
    this.drawn.append(el("path", { d: `M${a} ${RIM - 8}V${shoulder}H1V${h}H${w + 1}V${shoulder}H${b}V${RIM - 8}`, class: "walls faint" }));
  }
}
