import { AlertBoard, Voice } from "./alerts.js";
import { send, setSession, wireForms } from "./deeds.js";
import { LiveFeed } from "./feed.js";
import { wireMenu } from "./menu.js";
import { Screen, tare } from "./screen.js";
import { Strip, Tail } from "./strips.js";
import { age } from "./units.js";

const WINDOW_S = 300;
const SHOWN = { scale: "trace", low_side: "low_side", high_side: "high_side", vacuum: "trace", vent_temp: "trace", ambient_temp: "trace faint" };
const $ = (id) => document.getElementById(id);

const screen = new Screen();
const voice = new Voice($("sound"));
const board = new AlertBoard($("alerts"), voice, (code) => send(`/api/alerts/${encodeURIComponent(code)}/ack`, {}));
const strips = {
  scale: new Strip($("strips"), "Scale", { group: "mass" }),
  sides: new Strip($("strips"), "Low and high side", { group: "pressure" }),
  vacuum: new Strip($("strips"), "Vacuum", { group: "vacuum", log: true }),
  air: new Strip($("strips"), "Vent and ambient air", { group: "temperature" }),
};
let tails = {};
let session = null;
let alerts = new Map();
let drawnAt = 0;

function takeNow(now) {
  if (now.build !== document.documentElement.dataset.build) return location.reload();
  if (now.session_id !== session) changeSession(now.session_id, now.t_s);
  alerts = new Map(now.alerts.map((alert) => [alert.seq, alert]));
  screen.show(now);
  board.show([...alerts.values()]);
  record(now);
  document.documentElement.dataset.live = "yes";
}

function takeAlert(alert) {
  if (alert.session_id && session && alert.session_id !== session) return;
  alerts.set(alert.seq, alert);
  board.show([...alerts.values()]);
}

function changeSession(id, until) {
  session = id;
  setSession(id);
  tails = {};
  alerts.clear();
  for (const [name, needs] of [["start", false], ["mark", true], ["stage", true], ["end", true]]) {
    const button = $("deed-" + name);
    if (button) button.hidden = needs !== Boolean(id);
  }
  if (id) for (const channel of Object.keys(SHOWN)) backfill(id, channel, until ?? 0);
}

async function backfill(id, channel, until) {
  if (until <= 0) return;
  const from = Math.max(0, until - WINDOW_S);
  const path = `/api/sessions/${encodeURIComponent(id)}/readings?channel=${channel}&from_s=${from}&to_s=${until}&points=${WINDOW_S}`;
  const answer = await fetch(path).catch(() => null);
  if (!answer?.ok || session !== id) return;
  const tail = new Tail(WINDOW_S);
  tail.fill(await answer.json());
  const newer = tails[channel];
  newer?.t_s.forEach((t, i) => (tail.t_s.length === 0 || t > tail.t_s.at(-1)) && tail.add(t, newer.mean[i]));
  tails[channel] = tail;
}

function record(now) {
  if (now.t_s === undefined || now.t_s === null) return;
  for (const channel of Object.keys(SHOWN)) {
    const value = now.channels[channel];
    if (value && value.value !== null && value.quality === "good") (tails[channel] ??= new Tail(WINDOW_S)).add(now.t_s, value.value);
  }
  if (performance.now() - drawnAt > 1000 && !document.hidden) draw(now.t_s);
}

function draw(t) {
  drawnAt = performance.now();
  const span = [t - WINDOW_S, t];
  const tick = (at) => (t - at < 5 ? "now" : `−${Math.round((t - at) / 60)} min`);
  const rows = (...names) => names.filter((name) => tails[name]).map((name) => ({ ...tails[name], kind: SHOWN[name] }));
  strips.scale.show(rows("scale"), span, tick);
  strips.sides.show(rows("low_side", "high_side"), span, tick);
  strips.vacuum.show(rows("vacuum"), span, tick);
  strips.air.show(rows("ambient_temp", "vent_temp"), span, tick);
}

function takeLink(state, seconds) {
  document.body.toggleAttribute("data-away", state === "away");
  const words = state === "live" ? "live" : `Cart out of reach${seconds ? " for " + age(seconds) : ""}. Figures are old.`;
  if ($("link").textContent !== words) $("link").textContent = words;
}

wireForms();
wireMenu(() => (screen.again(), draw(screen.now?.t_s ?? 0)));
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
addEventListener("resize", () => Object.values(strips).forEach((strip) => strip.again()));
new LiveFeed({ now: takeNow, alert: takeAlert, stage: () => {}, session: () => {}, link: takeLink });
