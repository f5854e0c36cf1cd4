// The vacuum on a logarithmic rule: from the open air down to a pascal, with the mark that a dry system reaches.
import { el, label } from "./svg.js";
import { chosen, convert } from "./units.js";

export const [DEEP_PA, AIR_PA] = [1, 101325];
export const WANTED_PA = 500 * 0.133322387415; // 500 micron: common practice, no source
const HEIGHT = 40;

export class VacuumRule {
  constructor(place) {
    this.place = place;
    this.drawn = el("svg", { class: "rule" });
    place.replaceChildren(this.drawn);
    new ResizeObserver(() => this.rebuild()).observe(place);
  }

  x(pascal) {
    const part = Math.log(Math.max(pascal, DEEP_PA) / DEEP_PA) / Math.log(AIR_PA / DEEP_PA);
    return 4 + (1 - Math.min(1, part)) * (this.width - 8);
  }

  rebuild() {
    this.width = this.place.clientWidth;
    if (!this.width) return;
    this.drawn.replaceChildren();
    this.drawn.setAttribute("viewBox", `0 0 ${this.width} ${HEIGHT}`);
    this.drawn.setAttribute("height", HEIGHT);
    const factor = convert(1, "vacuum");
    const wanted = this.x(WANTED_PA);
    this.drawn.append(el("rect", { x: wanted, y: 14, width: this.width - 4 - wanted, height: 6, class: "wanted" }));
    this.drawn.append(el("path", { d: `M4 17H${this.width - 4}`, class: "walls" }));
    for (let k = -3; k <= 7; k++) {
      for (let m = 1; m < 10; m++) this.tick((m * 10 ** k) / factor, m === 1, 10 ** k);
    }
    this.drawn.append(label(4, HEIGHT - 4, "air", { class: "tick" }));
    this.pen = el("path", { class: "pen" });
    this.drawn.append(el("path", { d: `M${wanted} 8V24`, class: "aim" }), this.pen);
    this.show(this.value);
  }

  tick(pascal, whole, shown) {
    if (pascal < DEEP_PA * 0.999 || pascal > AIR_PA) return;
    const x = this.x(pascal);
    this.drawn.append(el("path", { d: `M${x} ${whole ? 12 : 15}V${whole ? 22 : 19}`, class: "tickline" }));
    if (!whole || x < 44) return;
    const words = shown >= 1000 ? shown / 1000 + "k" : String(+shown.toPrecision(1));
    const anchor = x < 14 ? "start" : x > this.width - 14 ? "end" : "middle";
    this.drawn.append(label(x, HEIGHT - 4, words, { class: "tick", "text-anchor": anchor }));
  }

  show(value) {
    this.value = value;
    if (chosen("vacuum") !== this.unit) {
      this.unit = chosen("vacuum");
      this.rebuild();
      return;
    }
    if (!this.pen) return;
    const x = this.x(value ?? AIR_PA);
    this.pen.setAttribute("d", value === null || value === undefined ? "" : `M${x} 15l-6 -12h12z`);
  }
}
