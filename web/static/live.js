import { AlertBoard, Voice } from "./alerts.js";
import { wireBefore } from "./before.js";
import { Conduct } from "./cautions.js";
import { send, setSession, wireForms } from "./deeds.js";
import { LiveFeed } from "./feed.js";
import { History } from "./history.js";
import { wireMenu } from "./menu.js";
import { wirePlan } from "./plan.js";
import { Screen, tare } from "./screen.js";
import { Strip } from "./strips.js";
import { age, clock } from "./units.js";

const STRIPS = [
  ["Scale", { group: "mass" }, { scale: "ink" }],
  ["Low and high side", { group: "pressure" }, { low_side: "low_side", high_side: "high_side" }],
  ["Vacuum", { group: "vacuum", log: true }, { vacuum: "ink" }],
  ["Vent and ambient air", { group: "temperature" }, { ambient_temp: "faint", vent_temp: "ink" }],
];
const $ = (id) => document.getElementById(id);

const screen = new Screen();
const conduct = new Conduct(JSON.parse($("rail").dataset.names));
const voice = new Voice($("sound"));
const board = new AlertBoard($("alerts"), voice, (code) => send(`/api/alerts/${encodeURIComponent(code)}/ack`, {}));
const strips = STRIPS.map(([title, options, kinds]) => [new Strip($("strips"), title, options), kinds]);
const history = new History(STRIPS.flatMap(([, , kinds]) => Object.keys(kinds)));
let session = null;
let alerts = new Map();
let drawnAt = -Infinity;

function takeNow(now) {
  if (now.build !== document.documentElement.dataset.build) return location.reload();
  if (now.session_id !== session) changeSession(now);
  alerts = new Map(now.alerts.map((alert) => [alert.seq, alert]));
  screen.show(now);
  conduct.show(now);
  board.show([...alerts.values()]);
  record(now);
  document.documentElement.dataset.live = "yes";
}

function takeAlert(alert) {
  if (alert.session_id && session && alert.session_id !== session) return;
  alerts.set(alert.seq, alert);
  board.show([...alerts.values()]);
}

function changeSession(now) {
  session = now.session_id;
  setSession(session);
  $("menu-job").hidden = !session;
  if (session) $("menu-job").href = `/sessions/${encodeURIComponent(session)}#job`;
  alerts.clear();
  for (const [name, needs] of [["start", false], ["mark", true], ["stage", true], ["end", true]]) {
    const button = $("deed-" + name);
    if (button) button.hidden = needs !== Boolean(session);
  }
  history.begin(session, now.t_s ?? 0, now.channels);
}

function record(now) {
  if (now.t_s === undefined || now.t_s === null) return;
  history.add(now);
  if (performance.now() - drawnAt < 1000 || document.hidden) return;
  drawnAt = performance.now();
  requestAnimationFrame(() => setTimeout(draw)); // the figures first
}

function draw() {
  const [from, to] = history.span;
  const recent = (at) => (to - at < 1 ? "now" : Math.round(to - at) % 60 ? "−" + clock(to - at) : `−${Math.round((to - at) / 60)} min`);
  const roomy = matchMedia("(min-width: 60rem)").matches; // beside the figures all of them are seen at once
  for (const [strip, kinds] of strips) {
    strip.height = roomy ? Math.max(70, (innerHeight - 250) / strips.length - 40) : 110;
    if (from === 0) strip.show(history.rows(kinds), [from, to], clock);
    else strip.show(history.rows(kinds), [from, to], recent, to);
  }
}

function takeLink(state, seconds) {
  document.body.toggleAttribute("data-away", state === "away");
  const words = state === "live" ? "live" : `Cart out of reach${seconds ? " for " + age(seconds) : ""}. Figures are old.`;
  if ($("link").textContent !== words) $("link").textContent = words;
}

wireForms();
wirePlan(document.querySelector("#session-dialog form"));
wireBefore(document.querySelector("#session-dialog form"));
wireMenu(() => (screen.again(), draw()));
for (const input of document.querySelectorAll("input[name=window]")) {
  input.addEventListener("change", async () => (await history.show(input.value === "whole"), draw()));
}
$("tare").addEventListener("click", () => {
  const value = screen.now?.channels.scale?.value ?? 0;
  sessionStorage.setItem("tare", tare() ? "0" : String(value));
  $("tare").textContent = tare() ? "Show the whole weight" : "Show weight from zero here";
  screen.again();
});
// Closing needs no question; opening does.
$("deed-valve")?.addEventListener("click", async (event) => {
  const open = event.target.dataset.open === "true";
  if (!open || confirm("Open the charging valve? Refrigerant will flow.")) await send("/api/valve", { open });
});
setInterval(() => screen.ages(), 500);
addEventListener("resize", draw);
new LiveFeed({ now: takeNow, alert: takeAlert, stage: () => {}, session: () => {}, link: takeLink });
