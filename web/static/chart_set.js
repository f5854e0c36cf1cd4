// The strip charts of one kept session, with another laid over it if wished, and a window to look closer.
import { Strip } from "./strips.js";
import { clock } from "./units.js";

const POINTS = 700;
export const SETS = [
  ["Scale", { group: "mass", height: 150 }, { scale: "ink" }],
  ["Low and high side", { group: "pressure", height: 150 }, { low_side: "low_side", high_side: "high_side" }],
  ["Vacuum", { group: "vacuum", log: true, height: 130 }, { vacuum: "ink" }],
  ["Vent and ambient air", { group: "temperature", height: 130 }, { vent_temp: "ink", ambient_temp: "faint" }],
  ["Lines and container", { group: "temperature", height: 130 }, { suction_temp: "low_side", liquid_temp: "high_side", container_temp: "faint" }],
];

async function readings(session, channel, from, to) {
  const window = from === null ? "" : `&from_s=${from}&to_s=${to}`;
  const answer = await fetch(`/api/sessions/${encodeURIComponent(session)}/readings?channel=${channel}&points=${POINTS}${window}`);
  return answer.ok ? answer.json() : null;
}

export class ChartSet {
  constructor(place, session, channels, end) {
    Object.assign(this, { place, session, channels, span: [0, end], end, over: null });
    place.querySelectorAll("figure, .nothing").forEach((old) => old.remove());
    this.strips = SETS.filter(([, , kinds]) => Object.keys(kinds).some((name) => name in channels)).map(([title, options, kinds]) => [new Strip(place, title, options), kinds]);
    for (const [strip] of this.strips) this.wire(strip);
  }

  // Drag over a chart to look closer, press Escape or double-tap to see all of it again.
  wire(strip) {
    let from = null;
    const at = (event) => {
      const box = strip.drawn.getBoundingClientRect();
      const part = (event.clientX - box.left - 46) / (box.width - 48);
      return this.span[0] + Math.max(0, Math.min(1, part)) * (this.span[1] - this.span[0]);
    };
    strip.drawn.addEventListener("pointerdown", (event) => (from = at(event)));
    strip.drawn.addEventListener("pointerup", (event) => {
      const to = at(event);
      if (from !== null && Math.abs(to - from) > (this.span[1] - this.span[0]) / 40) this.look(Math.min(from, to), Math.max(from, to));
      from = null;
    });
    strip.drawn.addEventListener("dblclick", () => this.look(0, this.end));
  }

  look(from, to) {
    this.span = [from, to];
    return this.load();
  }

  // So much of what is shown, moved by so much of it, within the session.
  step(share, moved) {
    const [from, to] = this.span;
    const width = Math.max(10, (to - from) * share);
    const start = (from + to - width) / 2 + moved * (to - from);
    const held = Math.max(0, Math.min(start, this.end - width));
    this.look(held, Math.min(this.end, held + width));
  }

  async load() {
    const [from, to] = this.span;
    const shown = document.getElementById("shown");
    if (shown) shown.textContent = `Shown: ${clock(from)} to ${clock(to)}.`;
    for (const [strip, kinds] of this.strips) {
      const rows = [];
      for (const [channel, kind] of Object.entries(kinds)) {
        if (this.over) rows.push({ ...(await readings(this.over, channel, from, to)), kind: "over" });
        if (channel in this.channels) rows.push({ ...(await readings(this.session, channel, from, to)), kind });
      }
      strip.show(rows.filter((row) => row.t_s?.length), this.span, clock);
    }
  }
}
