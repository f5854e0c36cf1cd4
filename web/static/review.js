// Control chart of the charge: what was delivered less the target, session by session, with the spread each claims.
import { wireForms } from "./deeds.js";
import { el, label } from "./svg.js";
import { chosen, number } from "./units.js";

const LIMIT_G = 15; // 40 CFR 82 subpart B, appendix C (the text of SAE J2788), section 7.1
const HEIGHT = 220;
wireForms();

function draw() {
  const place = document.getElementById("control");
  const rows = [...document.querySelectorAll("#judged tbody tr")].map((row) => [parseFloat(row.dataset.off), parseFloat(row.dataset.u) || 0]).filter(([off]) => Number.isFinite(off)).reverse();
  if (!place || !rows.length) return;
  const width = place.clientWidth;
  const reach = Math.max(LIMIT_G * 1.3, ...rows.map(([off, u]) => Math.abs(off) + u));
  const y = (g) => HEIGHT / 2 - (g / reach) * (HEIGHT / 2 - 10);
  const x = (i) => 60 + ((i + 0.5) / rows.length) * (width - 70);
  const drawn = el("svg", { viewBox: `0 0 ${width} ${HEIGHT}`, height: HEIGHT, class: "strip" });
  drawn.append(el("rect", { x: 52, y: y(LIMIT_G), width: width - 52, height: y(-LIMIT_G) - y(LIMIT_G), class: "zone" }));
  for (const g of [LIMIT_G, 0, -LIMIT_G]) {
    drawn.append(el("path", { d: `M52 ${y(g)}H${width}`, class: g ? "tickline" : "walls" }));
    drawn.append(label(46, y(g) + 4, (g > 0 ? "+" : "") + number(g, "mass") + (g ? "" : " " + chosen("mass")), { class: "tick", "text-anchor": "end" }));
  }
  rows.forEach(([off, u], i) => {
    if (u) drawn.append(el("path", { d: `M${x(i)} ${y(off - u)}V${y(off + u)}`, class: "spread" }));
    drawn.append(el("circle", { cx: x(i), cy: y(off), r: 5, class: "pen" }));
  });
  place.replaceChildren(drawn);
}

draw();
addEventListener("resize", draw);
