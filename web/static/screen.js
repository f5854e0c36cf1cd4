// The instrument: shows one `now` object, whether it comes live or out of the record.
import { FillColumn } from "./column.js";
import { HoldBand } from "./hold_band.js";
import { VacuumRule } from "./rule.js";
import { VacuumColumn } from "./vacuum_column.js";
import { age, chosen, clock, number, reading, withUnit, NONE } from "./units.js";

const NAMES = { scale: "Scale", barometer: "Barometer", ambient_temp: "Ambient", vent_temp: "Vent air", container_temp: "Container", suction_temp: "Suction line", liquid_temp: "Liquid line", humidity: "Humidity" };
const HEROES = {
  remaining: (now) => ["To go", "mass", now.charge?.remaining_g],
  vacuum: (now) => ["Vacuum", "vacuum", now.channels.vacuum?.value],
  weight: (now) => [tare() ? "Net weight" : "On the scale", "mass", net(now.channels.scale?.value)],
  low_side: (now) => ["Low side", "pressure", now.channels.low_side?.value],
  vent: (now) => ["Vent air", "temperature", now.channels.vent_temp?.value],
};
const $ = (id) => document.getElementById(id);

export function tare() {
  return Number(sessionStorage.getItem("tare") ?? 0);
}

export function net(value) {
  return value === null || value === undefined ? null : value - tare();
}

const VERDICTS = { tight: "Tight", leak: "Leak", moisture: "Moisture", inconclusive: "Inconclusive" };

// Saturation, and how far the line is from it in kelvin, which no reader's unit changes but °F.
function side(saturation_c, name, apart_k) {
  const known = (value) => value !== null && value !== undefined;
  const apart = known(apart_k) ? `${name} ${number(apart_k, "difference")} ${chosen("temperature") === "°F" ? "°F" : "K"}` : "";
  return [known(saturation_c) ? "saturated at " + withUnit(saturation_c, "temperature") : "", apart].filter(Boolean).join(", ");
}

function put(element, words) {
  if (element && element.textContent !== words) element.textContent = words;
}

export class Screen {
  constructor() {
    $("lane").replaceChildren();
    this.column = new FillColumn($("lane"));
    this.sinking = new VacuumColumn($("lane"));
    this.rule = new VacuumRule($("vacuum-rule"));
    this.band = new HoldBand($("hold-band"));
    this.order = [];
  }

  show(now) {
    this.now = now;
    this.got = performance.now();
    const charge = now.charge ?? {};
    $("main").dataset.hero = now.glance.hero;
    document.body.dataset.stage = now.stage;
    put($("do"), now.glance.do);
    this.hero(now);
    this.pace(charge, now.stage);
    this.rail(now.session_id || now.replayed ? now.stage : "");
    this.column.show(charge);
    this.sides(now.channels, now.physics ?? {});
    this.rule.show(now.channels.vacuum?.value);
    this.sinking.show(now.channels.vacuum?.value);
    this.others(now.channels);
    this.hold(now.physics?.pressure_hold ?? now.physics?.hold, now.physics?.pressure_hold ? "fall" : "rise");
    this.valve(now.valve);
    this.ages();
  }

  again() {
    if (this.now) this.show(this.now);
  }

  hero(now) {
    const [name, group, value] = HEROES[now.glance.hero](now);
    const past = now.glance.hero === "remaining" && value < -0.5;
    const words = number(past ? -value : value, group);
    put($("hero-name"), `${past ? "Past the target" : name}, ${chosen(group)}`);
    put($("hero"), words);
    $("hero").dataset.digits = words.length;
  }

  pace(charge, stage) {
    $("main").toggleAttribute("data-fills", stage === "charging" || charge.flow_g_per_s > 0.2);
    const left = charge.seconds_to_stop;
    const reached = charge.remaining_g !== null && charge.remaining_g <= 0;
    put($("stop-name"), reached ? "Target" : "Stop in");
    put($("stop"), reached ? "reached" : left > 0 ? clock(left) : left === 0 ? "now" : NONE);
    $("stop").toggleAttribute("data-words", reached);
    put($("flow"), charge.flow_g_per_s === undefined ? NONE : withUnit(charge.flow_g_per_s, "mass", 1) + (charge.flow_g_per_s === null ? "" : "/s"));
    put($("delivered"), number(charge.delivered_g, "mass"));
    put($("target"), charge.target_g ? "of " + withUnit(charge.target_g, "mass") : "no target");
  }

  rail(stage) {
    $("rail").dataset.now = stage;
    for (const item of $("rail").children) {
      if (item.dataset.stage === stage) item.setAttribute("aria-current", "step");
      else item.removeAttribute("aria-current");
    }
  }

  sides(channels, physics) {
    const notes = { low_side: side(physics.saturation?.low_c, "superheat", physics.performance?.superheat_k), high_side: side(physics.saturation?.high_c, "subcooling", physics.performance?.subcooling_k) };
    for (const name of ["low_side", "high_side", "vacuum"]) {
      const [box, channel] = [$(name), channels[name]];
      box.dataset.quality = channel?.quality ?? "absent";
      put(box.querySelector(".value"), reading(channel));
      put(box.querySelector(".sat"), notes[name]);
    }
  }

  others(channels) {
    const names = Object.keys(channels).filter((name) => !["low_side", "high_side", "vacuum"].includes(name));
    if (names.join() !== this.order.join()) this.lay(names);
    for (const name of names) {
      const row = this.rows[name];
      row.dataset.quality = channels[name].quality;
      const shown = name === "scale" && channels[name].value !== null ? { ...channels[name], value: net(channels[name].value) } : channels[name];
      put(row.children[1], reading(shown));
    }
  }

  lay(names) {
    this.order = names;
    this.rows = {};
    $("others").replaceChildren();
    for (const name of names) {
      const row = document.createElement("div");
      row.dataset.channel = name;
      for (const [tag, kind] of [["dt", ""], ["dd", "value"], ["dd", "age"]]) {
        row.append(Object.assign(document.createElement(tag), { className: kind }));
      }
      row.children[0].textContent = NAMES[name] ?? name;
      this.rows[name] = row;
      $("others").append(row);
    }
  }

  hold(hold, moves) {
    this.band.show(hold);
    if (!hold) return put($("hold"), "");
    const still = hold.seconds_still > 0 ? ` About ${Math.ceil(hold.seconds_still / 60)} min more to decide.` : "";
    const seen = hold.smallest_detectable_pa_per_s > 0 ? ` Would show a ${moves} of ${hold.smallest_detectable_pa_per_s.toPrecision(2)} Pa/s.` : "";
    const words = hold.words[0].toUpperCase() + hold.words.slice(1) + (hold.words.endsWith(".") ? "" : ".");
    const verdict = document.createElement("b");
    verdict.textContent = VERDICTS[hold.verdict] ?? hold.verdict;
    if ($("hold").textContent !== verdict.textContent + words + seen + still) $("hold").replaceChildren(verdict, words + seen + still);
  }

  valve(valve) {
    const button = $("deed-valve");
    if (!button) return;
    button.hidden = !valve;
    if (valve) put(button, valve.open ? "Close valve" : "Open valve");
    button.dataset.open = String(!valve?.open);
  }

  // Ages go on growing between two snapshots, and most of all when none comes any more.
  ages() {
    if (!this.now) return;
    const since = this.now.replayed ? 0 : (performance.now() - this.got) / 1000;
    for (const [name, channel] of Object.entries(this.now.channels)) {
      const row = this.rows?.[name] ?? $(name);
      const words = channel.age_s === null ? "" : age(channel.age_s + since);
      put(row?.querySelector(".age"), channel.quality === "good" ? words : `${channel.quality} ${words}`);
    }
  }
}

