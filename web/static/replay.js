// The same screen, fed from the record: every moment as the live page would have shown it.
import { AlertBoard } from "./alerts.js";
import { wireMenu } from "./menu.js";
import { Screen } from "./screen.js";
import { ChartSet } from "./chart_set.js";
import { clock } from "./units.js";

const POINTS = 600;
const $ = (id) => document.getElementById(id);
const session = $("scrub").dataset.session;
const screen = new Screen();
const board = new AlertBoard($("alerts"), { call: () => {} }, null);
let moments = [];
let playing = null;
let at = 0;
let charts = null;

function nearest(t) {
  let [low, high] = [0, moments.length - 1];
  while (low < high) {
    const middle = (low + high + 1) >> 1;
    if (moments[middle].t_s <= t) low = middle;
    else high = middle - 1;
  }
  return moments[low];
}

function show(t) {
  at = Math.max(0, Math.min(t, moments.at(-1).t_s));
  const now = { ...nearest(at), replayed: true };
  screen.show(now);
  board.show(now.alerts);
  $("at").value = at;
  $("at").setAttribute("aria-valuetext", clock(at));
  $("at-text").textContent = clock(at);
}

function play(on) {
  clearInterval(playing);
  playing = null;
  $("play").textContent = on ? "Pause" : "Play";
  $("play").setAttribute("aria-pressed", String(on));
  if (!on) return;
  if (at >= moments.at(-1).t_s) show(0);
  let before = performance.now();
  playing = setInterval(() => {
    const passed = (performance.now() - before) / 1000;
    before = performance.now();
    show(at + passed * Number($("speed").value));
    if (at >= moments.at(-1).t_s) play(false);
  }, 200);
}

async function begin() {
  $("do").textContent = "Sensing this session again…";
  const answer = await fetch(`/api/sessions/${encodeURIComponent(session)}/moments?points=${POINTS}`);
  const body = await answer.json();
  moments = body.moments ?? [];
  if (!moments.length) {
    $("do").textContent = body.detail ?? "Nothing was sensed in this session.";
    return;
  }
  $("at").max = moments.at(-1).t_s;
  show(Number(new URLSearchParams(location.search).get("t") ?? 0));
  document.documentElement.dataset.live = "yes";
  charts = new ChartSet($("strips"), session, Object.fromEntries(Object.keys(moments[0].channels).map((name) => [name, {}])), moments.at(-1).t_s);
  charts.load();
}

$("scrub").addEventListener("submit", (event) => event.preventDefault());
$("play").addEventListener("click", () => moments.length && play(playing === null));
$("at").addEventListener("input", (event) => (play(false), show(Number(event.target.value))));
wireMenu(() => (screen.again(), charts?.load()));
begin();
