import { ChartSet } from "./chart_set.js";
import { wireForms } from "./deeds.js";
import { wireJob } from "./job.js";
import { wireUnits } from "./paint.js";
import { el, label } from "./svg.js";
import { number } from "./units.js";

const place = document.getElementById("charts");
const charts = new ChartSet(place, place.dataset.session, JSON.parse(place.dataset.channels), Number(place.dataset.end) || 1);
wireForms();
wireJob();
wireUnits(() => (charts.load(), drawPlacard()));
charts.load();
document.getElementById("over")?.addEventListener("change", (event) => {
  charts.over = event.target.value || null;
  charts.load();
});
document.getElementById("window").addEventListener("click", ({ target: { dataset } }) => {
  if ("whole" in dataset) charts.look(0, charts.end);
  else if (dataset.closer || dataset.moves) charts.step(Number(dataset.closer ?? 1), Number(dataset.moves ?? 0));
});
addEventListener("keydown", (event) => event.key === "Escape" && charts.look(0, charts.end));
addEventListener("resize", () => charts.strips.forEach(([strip]) => strip.again()));

drawPlacard();

// Where the delivered mass and its uncertainty lie against the label.
function drawPlacard() {
  const drawn = document.querySelector("svg.placard");
  if (!drawn) return;
  drawn.replaceChildren();
  const [delivered, low, high, target, u] = ["delivered", "low", "high", "target", "u"].map((k) => parseFloat(drawn.dataset[k]));
  if (![delivered, low, high].every(Number.isFinite)) return;
  const half = Math.max(high - low, Math.abs(delivered - (low + high) / 2) * 2 + 2 * (u || 0)) * 0.75;
  const x = (g) => 160 + ((g - (low + high) / 2) / half) * 155;
  drawn.append(el("rect", { x: x(low), y: 10, width: x(high) - x(low), height: 12, class: "zone" }));
  for (const g of [low, high]) drawn.append(el("path", { d: `M${x(g)} 6V26`, class: "tickline" }), label(x(g), 40, number(g, "mass"), { class: "tick", "text-anchor": "middle" }));
  if (Number.isFinite(target)) drawn.append(el("path", { d: `M${x(target)} 6V26`, class: "aim" }));
  if (u) drawn.append(el("path", { d: `M${x(delivered - u)} 16H${x(delivered + u)}`, class: "spread" }));
  drawn.append(el("path", { d: `M${x(delivered)} 10l-6 -9h12z`, class: "pen" }));
}
