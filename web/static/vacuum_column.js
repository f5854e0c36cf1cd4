// While a vehicle is evacuated the column shows what air is still in it: a level that sinks, on a logarithmic scale,
// towards the zone that a dry, tight system reaches.
import { el, label, set } from "./svg.js";
import { chosen, convert } from "./units.js";
import { BESIDE, gutter } from "./column.js";
import { AIR_PA, DEEP_PA, WANTED_PA } from "./rule.js";

const RIM = 14;

export class VacuumColumn {
  constructor(place) {
    this.place = place;
    this.drawn = el("svg", { class: "column", role: "presentation" });
    place.append(this.drawn);
    new ResizeObserver(() => this.rebuild()).observe(place);
  }

  y(pascal) {
    const part = Math.log(Math.max(pascal, DEEP_PA) / DEEP_PA) / Math.log(AIR_PA / DEEP_PA);
    return this.height - 2 - Math.min(1, part) * (this.height - 2 - RIM);
  }

  rebuild() {
    [this.width, this.height] = [this.place.clientWidth, this.place.clientHeight];
    if (!this.width || !this.height) return;
    this.unit = chosen("vacuum");
    this.base = this.width - gutter(this.width);
    set(this.drawn, { viewBox: `0 0 ${this.width} ${this.height}`, width: this.width, height: this.height });
    const wanted = this.y(WANTED_PA);
    const hatch = el("pattern", { id: "hatch-vacuum", width: 7, height: 7, patternUnits: "userSpaceOnUse", patternTransform: "rotate(45)" },
      el("rect", { width: 2.5, height: 7, class: "hatch" }));
    this.fill = el("path", { class: "fill" });
    this.pen = el("path", { class: "pen" });
    this.drawn.replaceChildren(
      el("defs", {}, hatch),
      el("rect", { x: 1, y: wanted, width: this.base, height: this.height - 2 - wanted, fill: "url(#hatch-vacuum)" }),
      this.fill,
      el("path", { d: `M1 ${RIM - 8}V${this.height - 2}H${this.base + 1}V${RIM - 8}`, class: "walls" }),
      el("path", { d: `M0 ${wanted}H${this.base + BESIDE - 5}`, class: "aim" }),
      this.pen,
    );
    this.ticks(convert(1, "vacuum"), wanted);
    this.level();
  }

  ticks(factor, wanted) {
    for (let k = -2; k <= 6; k++) {
      const pascal = 10 ** k / factor;
      if (pascal < DEEP_PA * 0.9 || pascal > AIR_PA) continue;
      const y = Math.min(this.y(pascal), this.height - 5);
      const words = k >= 3 ? 10 ** (k - 3) + "k" : String(+(10 ** k).toPrecision(1));
      this.drawn.append(el("path", { d: `M${this.base + 3} ${y}h5`, class: "tickline" }));
      if (Math.abs(y - wanted) > 16) this.drawn.append(label(this.base + BESIDE, y + 4, words, { class: "tick" }));
    }
    const aim = convert(WANTED_PA, "vacuum");
    this.drawn.append(label(this.base + BESIDE, wanted + 6, aim < 10 ? aim.toPrecision(2) : Math.round(aim), { class: "aimtext" }));
  }

  show(value) {
    this.value = value;
    if (this.unit === chosen("vacuum")) this.level();
    else this.rebuild();
  }

  level() {
    if (!this.fill) return;
    const known = this.value !== null && this.value !== undefined;
    const y = known ? this.y(this.value) : 0;
    this.fill.setAttribute("d", known ? `M1 ${y}V${this.height - 2}H${this.base + 1}V${y}Z` : "");
    this.pen.setAttribute("d", known ? `M${this.base + 1} ${y}l11 -7v14z` : "");
  }
}
