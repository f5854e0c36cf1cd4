// What a hold has told so far, on a logarithmic rule of leak rates: the rates that still fit its readings as a band,
// and the smallest that it would show by now.
import { el, label } from "./svg.js";

const [LEAST, MOST] = [0.0001, 10]; // Pa/s
const HEIGHT = 46;
const [ROOM, MIDDLE] = [14, 18];

export class HoldBand {
  constructor(place) {
    this.place = place;
    this.drawn = el("svg", { class: "rule" });
    place.replaceChildren(this.drawn);
    new ResizeObserver(() => this.rebuild()).observe(place);
  }

  x(rate) {
    const part = Math.log(Math.max(rate, LEAST) / LEAST) / Math.log(MOST / LEAST);
    return ROOM + Math.min(1, part) * (this.width - 2 * ROOM);
  }

  show(hold) {
    this.hold = hold?.ci95 ? hold : null;
    this.place.hidden = !this.hold;
    if (this.hold && this.key !== JSON.stringify([hold.ci95, hold.smallest_detectable_pa_per_s])) this.rebuild();
  }

  rebuild() {
    this.width = this.place.clientWidth;
    if (!this.width || !this.hold) return;
    const { ci95, smallest_detectable_pa_per_s: seen } = this.hold;
    this.key = JSON.stringify([ci95, seen]);
    this.drawn.setAttribute("viewBox", `0 0 ${this.width} ${HEIGHT}`);
    this.drawn.setAttribute("height", HEIGHT);
    const [low, high] = ci95.map((rate) => this.x(rate));
    const hatch = el("pattern", { id: "hatch-hold", width: 7, height: 7, patternUnits: "userSpaceOnUse", patternTransform: "rotate(45)" },
      el("rect", { width: 2.5, height: 7, class: "hatch" }));
    this.drawn.replaceChildren(el("defs", {}, hatch), el("path", { d: `M${ROOM} ${MIDDLE}H${this.width - ROOM}`, class: "walls" }));
    for (let k = -4; k <= 1; k++) this.tick(10 ** k, k % 2 === 0);
    this.drawn.append(
      el("rect", { x: low, y: MIDDLE - 7, width: Math.max(2, high - low), height: 14, class: "bare" }),
      el("rect", { x: low, y: MIDDLE - 7, width: Math.max(2, high - low), height: 14, fill: "url(#hatch-hold)" }),
      el("path", { d: `M${low} ${MIDDLE - 8}v16M${high} ${MIDDLE - 8}v16`, class: "aim" }),
    );
    if (seen > 0) this.drawn.append(el("path", { d: `M${this.x(seen)} ${MIDDLE - 2}l-6 -12h12z`, class: "pen" }));
  }

  tick(rate, told) {
    const x = this.x(rate);
    this.drawn.append(el("path", { d: `M${x} ${MIDDLE - 4}v8`, class: "tickline" }));
    if (told) this.drawn.append(label(x, HEIGHT - 6, String(+rate.toPrecision(1)), { class: "tick", "text-anchor": "middle" }));
  }
}
