// What a placard means, and what to draw from which container, while it is typed.
import { number, withUnit } from "./units.js";

const FIELDS = ["placard", "containers", "hose_volume_ml", "refrigerant"];
let waiting = 0;

export function wirePlan(form) {
  if (!form) return;
  for (const name of FIELDS) form.elements[name]?.addEventListener("input", () => soon(form));
  form.addEventListener("reset", () => setTimeout(() => read(form)));
}

function soon(form) {
  clearTimeout(waiting);
  waiting = setTimeout(() => read(form), 250);
}

async function read(form) {
  const [said, plan] = [form.querySelector("#placard-said"), form.querySelector("#plan-said")];
  const body = Object.fromEntries(FIELDS.map((name) => [name, form.elements[name]?.value ?? ""]));
  plan.replaceChildren();
  if (!body.placard.trim()) return (said.textContent = "");
  const options = { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(body) };
  const answer = await fetch("/api/placard", options).catch(() => null);
  if (!answer) return;
  const found = await answer.json();
  said.classList.toggle("bad", !answer.ok);
  said.textContent = answer.ok ? placard(found) : found.detail;
  if (found.plan) plan.append(...lines(found.plan));
}

function placard(found) {
  const assumed = found.tolerance_assumed ? " (±15 g assumed: the label names no range)" : "";
  return `Fill to ${withUnit(found.target_g, "mass")}; allowed ${number(found.low_g, "mass")} to ${withUnit(found.high_g, "mass")}${assumed}`;
}

function lines(plan) {
  const list = document.createElement("ol");
  list.append(...plan.containers.map((draw) => line(draw)));
  const hose = plan.hose_allowance_g > 0 ? `, of which the hose keeps ${withUnit(plan.hose_allowance_g, "mass", 1)}` : "; name the hose's volume to count what it keeps";
  const notes = [`To draw ${withUnit(plan.to_draw_g, "mass")}${hose}.`];
  if (plan.to_buy) notes.push(`Have ${plan.to_buy} more like the last at hand.`);
  notes.push("The weight decides, not the plan.");
  return [list, Object.assign(document.createElement("p"), { textContent: notes.join(" ") })];
}

function line(draw) {
  const item = document.createElement("li");
  const amount = withUnit(draw.draw_g, "mass");
  const from = `container ${draw.given}, holds ${withUnit(draw.holds_g, "mass")}: `;
  const what = draw.draw_g < 0.05 ? "keep it at hand" : draw.emptied ? `draw all of it, about ${amount}` : `stop after ${amount}`;
  const scale = draw.gross_stop_g === null || draw.draw_g < 0.05 ? "" : `, scale ${withUnit(draw.gross_start_g, "mass")} to ${withUnit(draw.gross_stop_g, "mass")}`;
  item.textContent = from + what + scale;
  return item;
}
